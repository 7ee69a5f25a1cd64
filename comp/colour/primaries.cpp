#include "comp/colour/primaries.h"

#include <Eigen/LU>

namespace pw {
namespace {

Eigen::Vector3d tristimulus(const Point& xy) { return {xy.x() / xy.y(), 1, (1 - xy.x() - xy.y()) / xy.y()}; }

}  // namespace

const Primaries kRec709{{0.640, 0.330}, {0.300, 0.600}, {0.150, 0.060}, {0.3127, 0.3290}};
const Primaries kRec2020{{0.708, 0.292}, {0.170, 0.797}, {0.131, 0.046}, {0.3127, 0.3290}};

Matrix3 xyz_from_rgb(const Primaries& p) {
  Matrix3 m;
  m << tristimulus(p.red), tristimulus(p.green), tristimulus(p.blue);
  const Eigen::Vector3d brightness = m.inverse() * tristimulus(p.white);
  return m * brightness.asDiagonal();
}

Matrix3 to_from_primaries(const Primaries& to, const Primaries& from) {
  return xyz_from_rgb(to).inverse() * xyz_from_rgb(from);
}

void rec709_from_rec2020(float* pixels, size_t count, int channels) {
  static const Eigen::Matrix3f m = to_from_primaries(kRec709, kRec2020).cast<float>();
  for (float* end = pixels + count * static_cast<size_t>(channels); pixels != end; pixels += channels) {
    const float r = pixels[0], g = pixels[1], b = pixels[2];
    for (int c = 0; c < 3; ++c) pixels[c] = m(c, 0) * r + m(c, 1) * g + m(c, 2) * b;
  }
}

}  // namespace pw
