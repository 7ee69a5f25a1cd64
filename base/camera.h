// Where a camera stood and how it saw, as a plane of known size tells.
#pragma once
#include <optional>
#include <string>

#include "base/transform.h"

namespace pw {

// A pinhole camera with square pixels whose axis meets the middle of the picture, in one frame of the shot. Lengths are
// in the unit the plane was measured in, metres as a rule. Uncertainties are one standard deviation.
struct Camera {
  int width = 0, height = 0;  // Of the plate, pixels.
  int frame = 0;
  double focal_px = 0, focal_sd_px = 0;  // sd 0: it was given.
  double height_m = 0, height_sd_m = 0;  // Of the camera above the ground.
  double tilt_deg = 0, tilt_sd_deg = 0;  // Downwards.
  double roll_deg = 0, roll_sd_deg = 0;  // Clockwise, of the camera.
  double residual_px = 0;                // RMS of what the plane's points miss by.
  // (x, z) on the ground in metres to the frame's pixels: x to the right, z ahead, (0, 0) below the camera.
  Matrix3 frame_from_ground = Matrix3::Identity();
  std::string doubt;  // Why it is not to be trusted; empty when it is.

  // Row of the picture the horizon meets at column x, pixels.
  double horizon_y(double x) const;
  // Where a point is seen that stands `up` metres above the ground at (x, z).
  Point image_of(double x, double z, double up) const;
  // Pixels that something `metres` tall takes which stands with its foot at this place of the frame; nothing when the
  // ground is not there, but the sky.
  std::optional<double> size_px(const Point& foot, double metres) const;
};

}  // namespace pw
