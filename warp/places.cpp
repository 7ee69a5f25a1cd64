#include "warp/places.h"

#include <cmath>
#include <limits>

namespace pw {

void find_places(const Matrix3& m, int x0, int y, int count, Places& out) {
  out.count = count;
  const double m00 = m(0, 0), m01 = m(0, 1), m02 = m(0, 2);
  const double m10 = m(1, 0), m11 = m(1, 1), m12 = m(1, 2);
  const double m20 = m(2, 0), m21 = m(2, 1), m22 = m(2, 2);
  const double py = y + 0.5;
  for (int i = 0; i < count; ++i) {
    const double px = x0 + i + 0.5;
    const double w = m20 * px + m21 * py + m22;
    const double r = 1 / w;
    const double sx = (m00 * px + m01 * py + m02) * r, sy = (m10 * px + m11 * py + m12) * r;
    out.x[i] = w > 0 ? sx : std::numeric_limits<double>::quiet_NaN();
    out.y[i] = sy;
    out.xx[i] = static_cast<float>((m00 - sx * m20) * r);
    out.xy[i] = static_cast<float>((m01 - sx * m21) * r);
    out.yx[i] = static_cast<float>((m10 - sy * m20) * r);
    out.yy[i] = static_cast<float>((m11 - sy * m21) * r);
  }
}

std::optional<Shift> whole_shift(const Matrix3& h) {
  if (!(h(2, 2) > 0) || h(2, 0) != 0 || h(2, 1) != 0 || h(0, 1) != 0 || h(1, 0) != 0) return std::nullopt;
  if (h(0, 0) != h(2, 2) || h(1, 1) != h(2, 2)) return std::nullopt;
  const double dx = h(0, 2) / h(2, 2), dy = h(1, 2) / h(2, 2);
  if (dx != std::floor(dx) || dy != std::floor(dy) || std::abs(dx) > 1e8 || std::abs(dy) > 1e8) return std::nullopt;
  return Shift{static_cast<int>(dx), static_cast<int>(dy)};
}

}  // namespace pw
