#include "track/report_pictures.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/markup.h"
#include "track/report_marks.h"

namespace pw {
namespace {

std::string data_uri(const ReportPicture& p) { return "data:image/jpeg;base64," + base64(p.jpeg); }

// The region as it is on a frame, with its first corner marked, so that a turn is seen.
std::string region_on(const Motion& m, const Pose& pose, size_t track, double unit) {
  std::string points;
  for (const Point& p : m.region) {
    const Point q = map(pose.frame_from_ref, p);
    if (!q.allFinite() || q.cwiseAbs().maxCoeff() > 1e6) return {};
    points += fmt::format("{}{:.2f},{:.2f}", points.empty() ? "" : " ", q.x(), q.y());
  }
  const Point first = map(pose.frame_from_ref, m.region[0]);
  return fmt::format(
      "<g stroke-width=\"{0:.2f}\"><polygon class=\"casing\" stroke-width=\"{1:.2f}\" points=\"{2}\"/><polygon "
      "class=\"region {3}\" points=\"{2}\"/><circle class=\"region mark {3}\" cx=\"{4:.2f}\" cy=\"{5:.2f}\" "
      "r=\"{6:.2f}\"/></g>",
      2 * unit, 4 * unit, points, track_style(track), first.x(), first.y(), 5 * unit);
}

std::string view(const TrackReport& r, const ReportView& v) {
  const ReportTrack* any = nullptr;
  std::string regions, told;
  double width = v.picture.width, height = v.picture.height;
  for (size_t t = 0; t < r.tracks.size(); ++t) {
    const ReportTrack& track = r.tracks[t];
    const Pose* pose = track.image == v.image ? track.motion.find(v.frame) : nullptr;
    if (!pose) continue;
    if (!any) any = &track, width = track.motion.width, height = track.motion.height;
    const double unit = width / std::max(1, v.picture.width);
    if (pose->status != TrackStatus::lost) regions += region_on(track.motion, *pose, t, unit);
    told += fmt::format("{}{}{}: {}", told.empty() ? "" : ", ", escaped(track.name),
                        v.frame == track.motion.reference ? " (its reference)" : "", name(pose->status));
  }
  const std::string caption = fmt::format("Frame {} of {}; {}", v.frame, escaped(v.image), told);
  if (v.picture.jpeg.empty())
    return fmt::format(
        "<figure><div class=\"none\">there is no picture of this frame</div><figcaption>{}</figcaption></figure>\n",
        caption);
  return fmt::format(
      "<figure><svg role=\"img\" width=\"{0}\" height=\"{1}\" viewBox=\"0 0 {2} {3}\"><title>{4}</title><image "
      "width=\"{2}\" height=\"{3}\" preserveAspectRatio=\"none\" "
      "href=\"{5}\"/>{6}</svg><figcaption>{4}</figcaption></figure>\n",
      v.picture.width, v.picture.height, width, height, caption, data_uri(v.picture), regions);
}

std::string held(const TrackReport& r, size_t t, const HeldStill& h) {
  const ReportTrack& track = r.tracks[t];
  const Pose* pose = track.motion.find(h.frame);
  const TrackStatus status = pose ? pose->status : TrackStatus::lost;
  std::string text = fmt::format(
      "<figure id=\"{}\"><figcaption>{}{}</figcaption><svg width=\"{}\" height=\"9\" aria-hidden=\"true\"><rect "
      "width=\"100%\" height=\"9\" fill=\"url(#fill-{})\"/></svg>",
      held_id(t, h.frame), h.frame,
      h.frame == track.motion.reference ? " reference"
      : status == TrackStatus::good     ? ""
                                        : fmt::format(" {}", name(status)),
      h.picture.width, name(status));
  if (h.picture.jpeg.empty()) return text + "<div class=\"none\">no position</div></figure>\n";
  const auto image = [&](const ReportPicture& p, const char* what) {
    text += fmt::format("<img width=\"{}\" height=\"{}\" alt=\"{} of {} held still, frame {}\" src=\"{}\"/>", p.width,
                        p.height, what, escaped(track.name), h.frame, data_uri(p));
  };
  image(h.picture, "picture");
  if (!h.difference.jpeg.empty()) image(h.difference, "difference");
  return text + "</figure>\n";
}

}  // namespace

std::string regions_on_frames(const TrackReport& r) {
  std::string text = "<h2>The regions on the frames</h2>\n";
  if (r.tracks.size() > 1) text += legend_of_tracks(r);
  text += "<div class=\"pictures\">\n";
  for (const ReportView& v : r.views) text += view(r, v);
  return text + "</div>\n<p>A circle marks the first corner. Where a plane is lost no region is drawn.</p>\n";
}

std::string strips_held_still(const TrackReport& r) {
  std::string text = fmt::format(
      "<h2>Held still</h2>\n<p>Each frame is brought back to the reference by its track: where the track is right, "
      "nothing moves from picture to picture. Below each its difference from the reference, {:g} times enlarged, once "
      "both are smeared alike and brought to the same light: grey where they are alike, edges where the track is off. "
      "The bar is the frame's status.</p>\n{}",
      r.difference_gain, legend_of_statuses());
  for (size_t t = 0; t < r.tracks.size(); ++t) {
    const ReportTrack& track = r.tracks[t];
    text += fmt::format("<h3>{}</h3>\n", escaped(track.name));
    if (track.held.size() < track.motion.poses.size())
      text += fmt::format("<p>{} of {} frames are shown.</p>\n", track.held.size(), track.motion.poses.size());
    text += "<div class=\"pictures held\">\n";
    for (const HeldStill& h : track.held) text += held(r, t, h);
    text += "</div>\n";
  }
  return text;
}

}  // namespace pw
