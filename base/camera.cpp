#include "base/camera.h"

#include <Eigen/Dense>

namespace pw {

double Camera::horizon_y(double x) const {
  // The line through what the ground's two directions meet at infinity.
  const Eigen::Vector3d line = frame_from_ground.col(0).cross(frame_from_ground.col(1));
  return -(line.x() * x + line.z()) / line.y();
}

Point Camera::image_of(double x, double z, double up) const {
  Matrix3 k;
  k << focal_px, 0, width / 2.0, 0, focal_px, height / 2.0, 0, 0, 1;
  // Columns of [r_x r_z t] in the scale in which the axes have length 1; down is z times x.
  Matrix3 pose = k.inverse() * frame_from_ground;
  pose /= pose.col(0).norm();
  const Eigen::Vector3d down = pose.col(1).cross(pose.col(0));
  return (k * (x * pose.col(0) + z * pose.col(1) + pose.col(2) - up * down)).hnormalized();
}

std::optional<double> Camera::size_px(const Point& foot, double metres) const {
  if (!(foot.y() > horizon_y(foot.x()))) return std::nullopt;
  const Point ground = map(inverted(frame_from_ground), foot);
  return (image_of(ground.x(), ground.y(), metres) - foot).norm();
}

}  // namespace pw
