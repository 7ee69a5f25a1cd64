// The motion of a plane through a shot: for each frame the homography that takes the reference frame to it.
#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/transform.h"

namespace pw {

// good: trust it. weak: look at it. hidden: too little of the region is seen. outside: too little of it is in the
// picture. lost: no answer; frame_from_ref is not to be used.
enum class TrackStatus { good, weak, hidden, outside, lost };
std::string_view name(TrackStatus s);
std::optional<TrackStatus> track_status(std::string_view name);

struct Pose {
  int frame = 0;
  Matrix3 frame_from_ref = Matrix3::Identity();  // h33 = 1.
  TrackStatus status = TrackStatus::good;
  double residual = 0;  // RMS difference left after alignment, encoded 0..1 code values.
  // Covariance of the mapped region corners, px^2, 2n x 2n (x0 y0 x1 y1 ...), row major; empty when not known.
  std::vector<double> corner_covariance;
  std::string reason;  // Why the status is not good; empty when it is.
};

struct Motion {
  int width = 0, height = 0;  // Of the plate it was measured on, pixels.
  int reference = 0;
  std::vector<Point> region;  // 4 or more corners in the reference frame.
  std::vector<Pose> poses;    // Ascending frames.

  // The pose of exactly that frame, or null.
  const Pose* find(int frame) const;
  // frame_from_ref at a continuous time: a frame's own homography at whole frames; between them the region's corners
  // follow a cubic (Lagrange) through the nearest four usable frames, fewer at the ends of what is known; at most one
  // frame beyond the ends. Nothing when t is not covered by usable frames (a lost frame is not usable).
  std::optional<Matrix3> at(double t) const;
  // Maps points of frame `from` to frame `to`.
  std::optional<Matrix3> between(double to, double from) const;
};

// Four corners that stand for the region when homographies are interpolated: the region itself when it has four, else
// its box.
Quad corner_quad(const std::vector<Point>& region);

}  // namespace pw
