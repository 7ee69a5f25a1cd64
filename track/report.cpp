#include "track/report.h"

#include <fmt/format.h>

#include <array>
#include <limits>

#include "base/markup.h"
#include "track/plot.h"
#include "track/report_marks.h"
#include "track/report_pictures.h"
#include "track/report_tables.h"
#include "track/telling.h"

namespace pw {
namespace {

constexpr double kNone = std::numeric_limits<double>::quiet_NaN();

// Colours of tracks are those of M. Okabe and K. Ito, "Color Universal Design", 2008 (from memory), which most eyes
// tell apart; dashes tell them apart without colour. A status has a pattern for the same reason.
constexpr std::string_view kStyle = R"(
body { font: 15px/1.45 sans-serif; color: #1a1a1a; background: #fff; max-width: 1120px; margin: 24px auto; padding: 0 16px }
h1 { font-size: 24px } h2 { font-size: 19px; margin: 34px 0 8px } h3 { font-size: 16px; margin: 18px 0 6px }
table { border-collapse: collapse; margin: 10px 0 } th, td { border: 1px solid #c4c4c4; padding: 3px 9px; text-align: left; vertical-align: top }
th { background: #f0f0f0 } td.n { text-align: right; font-variant-numeric: tabular-nums }
svg.plot { display: block; width: 100%; margin: 6px 0 } svg text { font: 12px sans-serif; fill: #333 }
svg text.title { font-weight: bold } svg text.y { text-anchor: end } svg text.x { text-anchor: middle }
.grid { stroke: #e2e2e2; fill: none }
.line { fill: none; stroke-width: 1; stroke-linecap: round; opacity: .75 } .strong { stroke-width: 2.6; opacity: 1 }
.t0 { stroke: #0072b2 } .t1 { stroke: #d55e00 } .t2 { stroke: #009e73 } .t3 { stroke: #cc79a7 } .t4 { stroke: #56b4e9 } .t5 { stroke: #e69f00 }
.t1 { stroke-dasharray: 9 4 } .t2 { stroke-dasharray: 3 4 } .t3 { stroke-dasharray: 12 4 3 4 } .t4 { stroke-dasharray: 16 6 } .t5 { stroke-dasharray: 6 3 2 3 2 3 }
.legend span { display: inline-block; margin: 0 22px 4px 0 } .legend svg { width: 44px; height: 14px; vertical-align: -2px; margin-right: 6px }
.patterns { position: absolute } .region.mark { stroke-dasharray: none }
.box { stroke: #444; stroke-width: .6 }
.pictures { display: flex; flex-wrap: wrap; gap: 10px } figure { margin: 0 } figcaption { font-size: 13px }
.pictures img, .pictures svg { display: block; background: #777 } .held figure { border-top: 1px solid #ccc }
.casing, .region { fill: none; stroke-width: 2; vector-effect: non-scaling-stroke } .casing { stroke: #fff; stroke-width: 4; stroke-opacity: .8 }
.first { fill: #fff; stroke-dasharray: none; stroke-width: 2; vector-effect: non-scaling-stroke }
.none { min-width: 130px; min-height: 90px; background: #eee; color: #555; font-size: 13px; display: flex; align-items: center; justify-content: center; text-align: center }
svg text.name { paint-order: stroke; stroke: #fff; stroke-width: 4px })";

std::string bands(const TrackReport& r, const FrameAxis& axis) {
  constexpr double kRow = 24;
  const double height = kRow * static_cast<double>(r.tracks.size()) + 28;
  std::string text =
      fmt::format("<svg class=\"plot\" role=\"img\" viewBox=\"0 0 {} {}\"><title>Status of every frame</title>\n",
                  FrameAxis::kWidth, height);
  for (size_t t = 0; t < r.tracks.size(); ++t) {
    const ReportTrack& track = r.tracks[t];
    const double y = kRow * static_cast<double>(t) + 4;
    for (const StatusRun& run : status_runs(track.motion)) {
      const Pose &from = track.motion.poses[run.first], &to = track.motion.poses[run.last];
      const double x0 = axis.left(from.frame), x1 = axis.left(to.frame + 1.0);
      text += fmt::format(
          "<rect class=\"box\" x=\"{:.1f}\" y=\"{}\" width=\"{:.1f}\" height=\"18\" fill=\"url(#fill-{})\"><title>{}, "
          "frames {} to {}: {}</title></rect>\n",
          x0, y, x1 - x0, name(from.status), escaped(track.name), from.frame, to.frame, name(from.status));
    }
    text += fmt::format("<text class=\"name\" x=\"{}\" y=\"{}\">{}</text>\n", FrameAxis::kLeft + 6, y + 13,
                        escaped(track.name));
  }
  for (int f : axis.ticks())
    text += fmt::format("<text class=\"x\" x=\"{:.1f}\" y=\"{}\">{}</text>\n", axis.centre(f), height - 8, f);
  return text + "</svg>\n";
}

// A value of every frame of the axis; not a number where the track has no pose, or none that may be used.
template <class Value>
std::vector<double> over_time(const Motion& m, const FrameAxis& axis, Value value) {
  std::vector<double> all(static_cast<size_t>(axis.last - axis.first + 1), kNone);
  for (const Pose& p : m.poses)
    if (p.status != TrackStatus::lost) all[static_cast<size_t>(p.frame - axis.first)] = value(p);
  return all;
}

std::string plots(const TrackReport& r) {
  const FrameAxis axis = frames_of(r);
  Plot residual{.title = "Residual, code values from 0 to 1", .least = 0.002};
  Plot sigma{.title = "Uncertainty of the corners, one standard deviation, px (each corner thin, the worst thick)",
             .decades = true};
  std::array<Plot, 2> way{Plot{.title = "Corners: way from the reference to the right, px", .least = 1},
                          Plot{.title = "Corners: way from the reference down, px", .least = 1}};
  for (size_t t = 0; t < r.tracks.size(); ++t) {
    const std::string& track = r.tracks[t].name;
    const Motion& m = r.tracks[t].motion;
    const std::string thin = "line " + track_style(t), thick = thin + " strong";
    residual.lines.push_back(
        {thick, track, over_time(m, axis, [](const Pose& p) { return has_residual(p) ? p.residual : kNone; })});
    for (size_t c = 0; c < m.region.size(); ++c) {
      const std::string corner = fmt::format("{}, corner {}", track, c + 1);
      sigma.lines.push_back({thin, corner, over_time(m, axis, [&](const Pose& p) {
                               const auto s = corner_sigmas(p);
                               return c < s.size() ? s[c] : kNone;
                             })});
      for (int k : {0, 1})
        way[k].lines.push_back({thin, corner, over_time(m, axis, [&](const Pose& p) {
                                  const auto seen = corner_seen(m, p, c);
                                  return seen ? (*seen)[k] - m.region[c][k] : kNone;
                                })});
    }
    sigma.lines.push_back(
        {thick, track + ", the worst corner", over_time(m, axis, [](const Pose& p) { return worst_sigma(p); })});
  }
  return "<h2>Over time</h2>\n" + legend_of_statuses() + bands(r, axis) +
         (r.tracks.size() > 1 ? legend_of_tracks(r) : "") + plot_svg(sigma, axis) + plot_svg(residual, axis) +
         plot_svg(way[0], axis) + plot_svg(way[1], axis);
}

}  // namespace

std::string report_page(const TrackReport& r) {
  std::string names;
  for (const ReportTrack& t : r.tracks) names += (names.empty() ? "" : ", ") + escaped(t.name);
  const std::string title = fmt::format("{}: the tracks of {}", escaped(r.shot), names);
  return fmt::format(
             "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"/><title>{0}</title><style>{1}\n"
             "</style></head>\n<body>\n<h1>{0}</h1>\n",
             title, kStyle) +
         status_patterns() + frames_to_look_at(r) + planes_in_rows(r) + plots(r) + regions_on_frames(r) +
         strips_held_still(r) + all_numbers(r) + "</body></html>\n";
}

}  // namespace pw
