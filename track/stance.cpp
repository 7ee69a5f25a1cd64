#include "track/stance.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace pw {

double tilt_deg(const Eigen::Vector3d& down) { return std::asin(std::clamp(down.z(), -1.0, 1.0)) * 180 / M_PI; }

double roll_deg(const Eigen::Vector3d& down) { return std::atan2(down.x(), down.y()) * 180 / M_PI; }

Matrix3 frame_from_ground(const Eigen::Vector3d& down, const Matrix3& k, double height) {
  const Eigen::Vector3d ahead = (Eigen::Vector3d::UnitZ() - down.z() * down).normalized();
  Matrix3 m;
  m << down.cross(ahead), ahead, down * height;
  return k * m;
}

Matrix3 pinhole(double focal, double cx, double cy) {
  Matrix3 k;
  k << focal, 0, cx, 0, focal, cy, 0, 0, 1;
  return k;
}

}  // namespace pw
