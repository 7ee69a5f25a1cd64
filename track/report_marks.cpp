#include "track/report_marks.h"

#include <fmt/format.h>

#include <algorithm>
#include <limits>

#include "base/markup.h"

namespace pw {
namespace {

constexpr size_t kStyles = 6;  // Of tracks: colours and dashes.

// What fills a status, in a tile of 8 x 8.
std::string_view pattern(TrackStatus s) {
  switch (s) {
    case TrackStatus::good:
      return R"(<rect width="8" height="8" fill="#b5dcc0"/>)";
    case TrackStatus::weak:
      return R"(<rect width="8" height="8" fill="#ffd84d"/><path d="M-2 2L2 -2M-2 10L10 -2M6 10L10 6" stroke="#7a5a00" stroke-width="1.6"/>)";
    case TrackStatus::hidden:
      return R"(<rect width="8" height="8" fill="#a9c9ee"/><circle cx="4" cy="4" r="1.9" fill="#123c70"/>)";
    case TrackStatus::outside:
      return R"(<rect width="8" height="8" fill="#dcc2e6"/><path d="M4 0V8" stroke="#5b2a72" stroke-width="2.4"/>)";
    case TrackStatus::lost:
      break;
  }
  return R"(<rect width="8" height="8" fill="#7d1a10"/><path d="M0 0L8 8M8 0L0 8" stroke="#fff" stroke-width="1.2"/>)";
}

std::string_view meaning(TrackStatus s) {
  switch (s) {
    case TrackStatus::good:
      return "trust it";
    case TrackStatus::weak:
      return "look at it";
    case TrackStatus::hidden:
      return "not seen: carried over from the frames around";
    case TrackStatus::outside:
      return "too little of the region is in the picture";
    case TrackStatus::lost:
      break;
  }
  return "no answer";
}

}  // namespace

std::string status_patterns() {
  std::string text = "<svg class=\"patterns\" width=\"0\" height=\"0\" aria-hidden=\"true\"><defs>\n";
  for (TrackStatus s : kStatuses)
    text +=
        fmt::format("<pattern id=\"fill-{}\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\">{}</pattern>\n",
                    name(s), pattern(s));
  return text + "</defs></svg>\n";
}

std::string track_style(size_t track) { return fmt::format("t{}", track % kStyles); }

std::string line_sample(size_t track) {
  return fmt::format(
      "<svg viewBox=\"0 0 44 14\" aria-hidden=\"true\"><path class=\"line strong {}\" d=\"M1 7H43\"/></svg>",
      track_style(track));
}

std::string legend_of_statuses() {
  std::string text = "<p class=\"legend\">";
  for (TrackStatus s : kStatuses)
    text += fmt::format(
        "<span><svg viewBox=\"0 0 44 14\" aria-hidden=\"true\"><rect class=\"box\" x=\"1\" y=\"1\" width=\"42\" "
        "height=\"12\" fill=\"url(#fill-{0})\"/></svg>{0}: {1}</span>",
        name(s), meaning(s));
  return text + "</p>\n";
}

std::string legend_of_tracks(const TrackReport& r) {
  std::string text = "<p class=\"legend\">";
  for (size_t t = 0; t < r.tracks.size(); ++t)
    text += fmt::format("<span>{}{}</span>", line_sample(t), escaped(r.tracks[t].name));
  return text + "</p>\n";
}

std::string held_id(size_t track, int frame) { return fmt::format("held-{}-{}", track + 1, frame); }

std::string link_to(const TrackReport& r, size_t track, int frame) {
  for (const HeldStill& h : r.tracks[track].held)
    if (h.frame == frame) return fmt::format("<a href=\"#{}\">{}</a>", held_id(track, frame), frame);
  return fmt::format("{}", frame);
}

FrameAxis frames_of(const TrackReport& r) {
  FrameAxis axis{std::numeric_limits<int>::max(), std::numeric_limits<int>::min()};
  for (const ReportTrack& t : r.tracks)
    for (const Pose& p : t.motion.poses)
      axis.first = std::min(axis.first, p.frame), axis.last = std::max(axis.last, p.frame);
  return axis;
}

}  // namespace pw
