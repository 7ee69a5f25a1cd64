// Two planes of one scene and a camera that moves past them: what their corners' places in many frames say of the focal
// length, of how the planes lie, and of the way of the camera. Lengths in distances of the first plane from the camera
// in its home frame, whose axes all else is told in.
#pragma once
#include <Eigen/Core>
#include <array>
#include <vector>

#include "base/transform.h"

namespace pw {

using QuadPlaces = Eigen::Matrix<double, 8, 1>;  // x0 y0 x1 y1 ..., pixels.

// camera_from_home: X -> rotation X + translation.
struct Step3 {
  Matrix3 rotation = Matrix3::Identity();
  Eigen::Vector3d translation = Eigen::Vector3d::Zero();
};

// What all frames share.
struct TwoPlanes {
  double focal = 0;
  Matrix3 axes = Matrix3::Identity();  // Its first column is the first normal; the second's lies in its first two.
  double angle = 0;                    // Between the normals, radians.
  double distance = 1;                 // Of the second plane.
  std::array<QuadPlaces, 2> home;      // Where the corners are seen in the home frame.

  // Away from the camera.
  Eigen::Vector3d normal(int plane) const;
  // n / d: the plane is where its product with a point is 1.
  Eigen::Vector3d slope(int plane) const;

  static constexpr int kSize = 22;  // log focal, turn 3, angle, log distance, corners 8 + 8.
  using Change = Eigen::Matrix<double, kSize, 1>;
  using Covariance = Eigen::Matrix<double, kSize, kSize>;
  TwoPlanes changed(const Change& by) const;
};

// The corners of one plane as seen in one frame; frame -1 is the home frame.
struct Sighting {
  int plane = 0, frame = -1;
  QuadPlaces seen;
  Eigen::Matrix<double, 8, 8> whiten;  // Whitens an error: W'W is the inverse of its covariance.
};

struct SceneFit {
  TwoPlanes planes;
  std::vector<Step3> steps;  // Of frames 0, 1, ...
  double cost = 0;           // Sum of squares of whitened errors.
  // Of changes of `planes`, larger by what errors are larger than told; not finite where nothing fixes them.
  TwoPlanes::Covariance covariance = TwoPlanes::Covariance::Zero();
  double rms_px = 0;     // What corners miss by, each coordinate.
  double inflation = 1;  // Cost per degree of freedom.
};

// (cx, cy): where the axis meets the picture. `fixed_focal`, `fixed_angle`: they stay as they are. At most `rounds`.
SceneFit fit_scene(const std::vector<Sighting>& sightings, SceneFit start, const Point& centre, bool fixed_focal,
                   bool fixed_angle, int rounds);

}  // namespace pw
