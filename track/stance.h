// How a camera lies over level ground, from which way is down as it sees it.
#pragma once
#include "base/transform.h"

namespace pw {

// `down`: of length 1, in the camera's axes (x right, y down, z ahead). Degrees: downwards, and clockwise.
double tilt_deg(const Eigen::Vector3d& down);
double roll_deg(const Eigen::Vector3d& down);

// (x, z) on the ground to pixels: x to the right, z ahead, (0, 0) below the camera, `height` of it above the ground in
// the same unit. `k`: image_from_camera.
Matrix3 frame_from_ground(const Eigen::Vector3d& down, const Matrix3& k, double height);

// image_from_camera of a pinhole with square pixels whose axis meets (cx, cy).
Matrix3 pinhole(double focal, double cx, double cy);

}  // namespace pw
