#include "track/report_tables.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "base/markup.h"
#include "track/report_marks.h"
#include "track/telling.h"

namespace pw {
namespace {

constexpr double kUnknown = std::numeric_limits<double>::quiet_NaN();

std::string number(double v, int decimals) {
  return std::isfinite(v) ? fmt::format("{:.{}f}", v, decimals) : std::string("not known");
}

// The reasons of a run: each in the words of the frame that first had it, numbers aside.
std::string reasons(const Motion& m, const StatusRun& run) {
  std::vector<std::string> seen;
  std::string text;
  for (size_t i = run.first; i <= run.last; ++i) {
    std::string bare;
    for (char c : m.poses[i].reason)
      if ((c < '0' || c > '9') && c != '.') bare += c;
    if (std::find(seen.begin(), seen.end(), bare) != seen.end()) continue;
    seen.push_back(bare);
    const std::string words = m.poses[i].reason.empty() ? "no reason is stored" : escaped(m.poses[i].reason);
    text += i == run.first ? words : fmt::format("<br/>from {} on: {}", m.poses[i].frame, words);
  }
  return text;
}

struct Extreme {
  double value = kUnknown;
  int frame = 0;
  void take(double v, int f) {
    if (std::isfinite(v) && !(v <= value)) value = v, frame = f;
  }
};

double median(std::vector<double> v) {
  if (v.empty()) return kUnknown;
  std::nth_element(v.begin(), v.begin() + v.size() / 2, v.end());
  return v[v.size() / 2];
}

}  // namespace

std::string frames_to_look_at(const TrackReport& r) {
  std::string rows;
  for (size_t t = 0; t < r.tracks.size(); ++t) {
    const Motion& m = r.tracks[t].motion;
    for (const StatusRun& run : status_runs(m)) {
      const Pose &from = m.poses[run.first], &to = m.poses[run.last];
      if (from.status == TrackStatus::good) continue;
      std::string frames = link_to(r, t, from.frame);
      if (to.frame != from.frame) frames += fmt::format(" to {}", link_to(r, t, to.frame));
      rows += fmt::format("<tr><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>\n", escaped(r.tracks[t].name), frames,
                          name(from.status), reasons(m, run));
    }
  }
  std::string text = "<h2>Frames to look at</h2>\n";
  if (rows.empty()) return text + "<p>None: every frame is good.</p>\n";
  return text + "<table><thead><tr><th>plane</th><th>frames</th><th>status</th><th>why</th></tr></thead><tbody>\n" +
         rows + "</tbody></table>\n";
}

std::string planes_in_rows(const TrackReport& r) {
  std::string text = "<h2>The planes</h2>\n<table><thead><tr><th>plane</th><th>reference</th><th>frames</th>";
  for (TrackStatus s : kStatuses) text += fmt::format("<th>{}</th>", name(s));
  text +=
      "<th>median residual</th><th>largest, at frame</th><th>median uncertainty</th><th>largest, at frame</th></tr>"
      "</thead><tbody>\n";
  for (size_t t = 0; t < r.tracks.size(); ++t) {
    const Motion& m = r.tracks[t].motion;
    std::vector<double> residuals, sigmas;
    Extreme residual, sigma;
    std::array<int, kStatuses.size()> count{};
    for (const Pose& p : m.poses) {
      ++count[static_cast<size_t>(p.status)];
      if (p.status == TrackStatus::lost || p.frame == m.reference) continue;
      if (has_residual(p)) residuals.push_back(p.residual), residual.take(p.residual, p.frame);
      const double s = worst_sigma(p);
      if (std::isfinite(s)) sigmas.push_back(s), sigma.take(s, p.frame);
    }
    text += fmt::format("<tr><td>{}{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td>",
                        r.tracks.size() > 1 ? "<span class=\"legend\">" + line_sample(t) + "</span>" : "",
                        escaped(r.tracks[t].name), link_to(r, t, m.reference), m.poses.size());
    for (int n : count) text += fmt::format("<td class=\"n\">{}</td>", n);
    const auto at = [&](const Extreme& e, int decimals, const char* unit) {
      return std::isfinite(e.value) ? fmt::format("{:.{}f}{}, {}", e.value, decimals, unit, link_to(r, t, e.frame))
                                    : std::string("not known");
    };
    text += fmt::format(
        "<td class=\"n\">{}</td><td class=\"n\">{}</td><td class=\"n\">{}{}</td><td class=\"n\">{}</td></tr>\n",
        number(median(residuals), 4), at(residual, 4, ""), number(median(sigmas), 3), sigmas.empty() ? "" : " px",
        at(sigma, 3, " px"));
  }
  return text +
         "</tbody></table>\n<p>Residual: RMS difference from the reference after alignment, in code values from 0 to "
         "1. Uncertainty: one standard deviation of the corner known least, along its worst direction, in pixels; in "
         "19 of 20 frames a corner is off by less than about two and a half times as much.</p>\n";
}

std::string all_numbers(const TrackReport& r) {
  std::string text =
      "<h2>All numbers</h2>\n<details><summary>A row for every frame</summary>\n<table><thead><tr><th>frame</th>";
  for (const ReportTrack& t : r.tracks)
    text += fmt::format("<th>{0}: status</th><th>{0}: residual</th><th>{0}: uncertainty, px</th>", escaped(t.name));
  text += "</tr></thead><tbody>\n";
  const FrameAxis axis = frames_of(r);
  for (int f = axis.first; f <= axis.last; ++f) {
    std::string row;
    bool any = false;
    for (const ReportTrack& t : r.tracks) {
      const Pose* p = t.motion.find(f);
      any = any || p;
      row += fmt::format("<td>{}</td>", p ? name(p->status) : "");
      const bool usable = p && p->status != TrackStatus::lost;
      row +=
          fmt::format("<td class=\"n\">{}</td>", usable && has_residual(*p) ? fmt::format("{:.4f}", p->residual) : "");
      const double s = usable ? worst_sigma(*p) : kUnknown;
      row += fmt::format("<td class=\"n\">{}</td>", std::isfinite(s) ? fmt::format("{:.3f}", s) : "");
    }
    if (any) text += fmt::format("<tr><td class=\"n\">{}</td>{}</tr>\n", f, row);
  }
  return text + "</tbody></table></details>\n";
}

}  // namespace pw
