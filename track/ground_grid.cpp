#include "track/ground_grid.h"

#include <algorithm>
#include <cmath>

namespace pw {
namespace {

constexpr double kCrowded = 6;  // Pixels between lines, from which to twice which they come up.

// How much of a pixel a line covers whose middle is so many pixels away.
double cover(double distance, double width) { return std::clamp(0.5 + 0.5 * width - distance, 0.0, 1.0); }

// Lines at whole metres; `per_px` is how fast the coordinate changes at most.
double lines(double metres, double per_px) {
  const double whole = std::round(metres), strength = std::fmod(std::abs(whole), 5) == 0 ? 1 : 0.5;
  const double apart = 1 / per_px, room = std::clamp(apart / kCrowded - 1, 0.0, 1.0);
  return std::isfinite(apart) ? strength * room * cover(std::abs(metres - whole) * apart, 1) : 0;
}

}  // namespace

Picture ground_grid(const Camera& camera) {
  Canvas out = Canvas::clear(Rect::sized(camera.width, camera.height), 4);
  const Matrix3 ground_from_frame = inverted(camera.frame_from_ground);
  const double slope = camera.horizon_y(1) - camera.horizon_y(0), upright = 1 / std::hypot(1, slope);
  for (int y = 0; y < camera.height; ++y)
    for (int x = 0; x < camera.width; ++x) {
      const Point p(x + 0.5, y + 0.5);
      const double below = (p.y() - camera.horizon_y(p.x())) * upright;
      double grid = 0;
      if (below > 1) {
        const Point g = map(ground_from_frame, p);
        const Eigen::Matrix2d j = jacobian(ground_from_frame, p);
        grid = std::max(lines(g.x(), j.row(0).norm()), lines(g.y(), j.row(1).norm()));
      }
      const double horizon = cover(std::abs(below), 2), white = grid * (1 - horizon);
      float* v = out.at(x, y);
      v[0] = float(white + horizon), v[1] = float(white + 0.4 * horizon), v[2] = float(white);
      v[3] = float(white + horizon);
    }
  return std::move(out).finish();
}

}  // namespace pw
