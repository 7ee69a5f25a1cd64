#include "track/report_pictures.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "base/markup.h"
#include "track/report_marks.h"
#include "track/telling.h"

namespace pw {
namespace {

std::string data_uri(const ReportPicture& p) { return "data:image/jpeg;base64," + base64(p.jpeg); }

// Around a corner, what holds it in 19 of 20 frames: the ellipse at which the normal density has 5 % of the probability
// outside, x^T C^-1 x = -2 ln 0.05, so many times enlarged.
std::string ellipse_at(const Point& corner, const Pose& pose, size_t i, size_t corners, size_t track, double enlarged) {
  const auto c = [&](size_t row, size_t column) {
    return pose.corner_covariance[(2 * i + row) * 2 * corners + 2 * i + column];
  };
  const double mean = (c(0, 0) + c(1, 1)) / 2, half = (c(0, 0) - c(1, 1)) / 2, away = std::hypot(half, c(0, 1));
  const double factor = enlarged * std::sqrt(-2 * std::log(0.05));
  return fmt::format(
      "<ellipse class=\"region mark {}\" rx=\"{:.2f}\" ry=\"{:.2f}\" transform=\"translate({:.2f} {:.2f}) "
      "rotate({:.1f})\"/>",
      track_style(track), factor * std::sqrt(std::max(0.0, mean + away)),
      factor * std::sqrt(std::max(0.0, mean - away)), corner.x(), corner.y(), std::atan2(c(0, 1), half) * 90 / M_PI);
}

// The largest of 1, 2, 5, ..., 1000, 2000, 5000 that is not above `most`; 1 when none is.
double enlargement(double most) {
  double enlarged = 1;
  for (double power = 1; power <= 1000; power *= 10)
    for (double m : {1, 2, 5})
      if (m * power <= most) enlarged = m * power;
  return enlarged;
}

// That which keeps the usual ellipse's longer half axis below a 60th of the picture's width.
double usual_enlargement(const TrackReport& r) {
  std::vector<double> sigmas;
  double width = 0;
  for (const ReportTrack& t : r.tracks)
    for (const Pose& p : t.motion.poses)
      if (const double s = worst_sigma(p); s > 0) sigmas.push_back(s), width = t.motion.width;
  if (sigmas.empty()) return 1;
  std::nth_element(sigmas.begin(), sigmas.begin() + sigmas.size() / 2, sigmas.end());
  return enlargement(width / 60 / (2.5 * sigmas[sigmas.size() / 2]));
}

// The region as it is on a frame, with its first corner marked, so that a turn is seen.
std::string region_on(const Motion& m, const Pose& pose, size_t track, double unit, double enlarged) {
  std::string points, ellipses;
  Point first(0, 0);
  const size_t corners = m.region.size();
  for (size_t i = 0; i < corners; ++i) {
    const auto seen = corner_seen(m, pose, i);
    if (!seen || seen->cwiseAbs().maxCoeff() > 1e6) return {};
    const Point q = *seen;
    if (i == 0) first = q;
    points += fmt::format("{}{:.2f},{:.2f}", points.empty() ? "" : " ", q.x(), q.y());
    if (pose.corner_covariance.size() == 4 * corners * corners)
      ellipses += ellipse_at(q, pose, i, corners, track, enlarged);
  }
  return fmt::format(
      "<polygon class=\"casing\" points=\"{0}\"/><polygon class=\"region {1}\" points=\"{0}\"/><circle class=\"first "
      "{1}\" cx=\"{2:.2f}\" cy=\"{3:.2f}\" r=\"{4:.2f}\"/>{5}",
      points, track_style(track), first.x(), first.y(), 4 * unit, ellipses);
}

std::string view(const TrackReport& r, const ReportView& v, double usual) {
  const ReportTrack* any = nullptr;
  std::string regions, told;
  double width = v.picture.width, height = v.picture.height, enlarged = usual;
  // A plane that is known poorly there must not fill the picture.
  for (const ReportTrack& track : r.tracks)
    if (const Pose* p = track.image == v.image ? track.motion.find(v.frame) : nullptr; p && worst_sigma(*p) > 0)
      enlarged = std::min(enlarged, enlargement(track.motion.width / 12.0 / (2.5 * worst_sigma(*p))));
  for (size_t t = 0; t < r.tracks.size(); ++t) {
    const ReportTrack& track = r.tracks[t];
    const Pose* pose = track.image == v.image ? track.motion.find(v.frame) : nullptr;
    if (!pose) continue;
    if (!any) any = &track, width = track.motion.width, height = track.motion.height;
    const double unit = width / std::max(1, v.picture.width);
    if (pose->status != TrackStatus::lost) regions += region_on(track.motion, *pose, t, unit, enlarged);
    told += fmt::format("{}{}{}: {}", told.empty() ? "" : ", ", escaped(track.name),
                        v.frame == track.motion.reference ? " (its reference)" : "", name(pose->status));
  }
  const std::string caption =
      fmt::format("Frame {} of {}; {}{}", v.frame, escaped(v.image), told,
                  enlarged < usual ? fmt::format("; ellipses {:g} times enlarged", enlarged) : "");
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
  const double enlarged = usual_enlargement(r);
  for (const ReportView& v : r.views) text += view(r, v, enlarged);
  return text +
         fmt::format(
             "</div>\n<p>A white dot marks the first corner. An ellipse, {:g} times enlarged, holds its corner in "
             "19 of 20 frames; less enlarged where the frame says so. Where a plane is lost no region is drawn.</p>\n",
             enlarged);
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
