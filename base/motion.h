// The motion of a plane through a shot: for each frame the homography that takes the reference frame to it. Where the
// lens bends lines, or rows are taken one after the other, homographies are those of ideal pictures: without the lens,
// all of a frame at the time of its middle row. Row y of frame f is taken at f + readout (y / height - 1 / 2).
#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/lens.h"
#include "base/transform.h"

namespace pw {

// good: trust it. weak: look at it. hidden: too little of the region is seen; carried over from the frames around.
// outside: too little of it is in the picture. lost: no answer; frame_from_ref is not to be used.
enum class TrackStatus { good, weak, hidden, outside, lost };
std::string_view name(TrackStatus s);
std::optional<TrackStatus> track_status(std::string_view name);

struct Pose {
  // Found in the frame's own picture, so that places in it can be compared with the reference's.
  bool seen() const { return status == TrackStatus::good || status == TrackStatus::weak; }

  int frame = 0;
  Matrix3 frame_from_ref = Matrix3::Identity();  // h33 = 1.
  TrackStatus status = TrackStatus::good;
  double residual = 0;  // RMS difference left after alignment, encoded 0..1 code values.
  // Covariance of the mapped region corners, px^2, 2n x 2n (x0 y0 x1 y1 ...), row major; empty when not known.
  std::vector<double> corner_covariance;
  std::string reason;  // Why the status is not good; empty when it is.
  // Where the region's corners are seen, when that is known by itself (a truth may say so); else empty.
  std::vector<Point> corners;
};

struct Motion {
  int width = 0, height = 0;  // Of the plate it was measured on, pixels.
  int reference = 0;
  std::vector<Point> region;  // 4 or more corners in the reference frame, where they are seen.
  std::vector<Pose> poses;    // Ascending frames.
  Lens lens = {};
  double readout = 0;     // Time from the first row to the last, frames; -1 to 1, below 0: from the bottom up.
  double readout_sd = 0;  // Standard deviation where it was found; 0: given.
  std::string chosen;     // Why the program chose this reference and region; empty: they were given.

  // The pose of exactly that frame, or null.
  const Pose* find(int frame) const;
  // frame_from_ref at a continuous time: a frame's own homography at whole frames; between them the region's corners
  // follow a cubic (Lagrange) through the nearest four usable frames, fewer at the ends of what is known; at most one
  // frame beyond the ends. Rows that are taken one after the other show a plane's speed, which a cubic tells too
  // poorly: with a readout it is the nearest six, and a quintic. Nothing when t is not covered by usable frames (a lost
  // frame is not usable).
  std::optional<Matrix3> at(double t) const;
  // Maps points of frame `from` to frame `to`.
  std::optional<Matrix3> between(double to, double from) const;

  // False: a homography says all, and the three below agree with it.
  bool bent() const { return !lens.none() || readout != 0; }
  // From where a point is seen at time t (frame t when it is whole) to its place in the ideal reference, and back. Rows
  // beyond the picture go on in time for half its height. Nothing where the motion is not known or the lens shows
  // nothing; back also when the plane outruns the rows.
  std::optional<Point> ref_from_seen(double t, const Point& seen) const;
  std::optional<Point> seen_from_ref(double t, const Point& ideal) const;
  // From where it is seen at time `from` to where it is seen at time `to`.
  std::optional<Point> seen_between(double to, double from, const Point& seen) const;
};

// Four corners that stand for the region when homographies are interpolated: the region itself when it has four, else
// its box.
Quad corner_quad(const std::vector<Point>& region);

}  // namespace pw
