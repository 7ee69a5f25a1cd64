#include "base/lens.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace pw {
namespace {

constexpr double kCovered = 0.75;

struct Unit {
  Point centre;
  double length;
  Unit(double width, double height) : centre(width / 2, height / 2), length(std::hypot(width, height) / 2) {}
};

double stretch(const Lens& l, double r2) { return 1 + r2 * (l.k1 + r2 * l.k2); }
double slope(const Lens& l, double r) { return 1 + r * r * (3 * l.k1 + r * r * 5 * l.k2); }

// The radius at which the curve r stretch(r) stops to rise; infinite when it never does.
double turning(const Lens& l) {
  // 5 k2 u^2 + 3 k1 u + 1 = 0, u = r^2, in the form that loses no digits; the smallest u above 0.
  const double a = 5 * l.k2, b = 3 * l.k1, square = b * b - 4 * a;
  double least = std::numeric_limits<double>::infinity();
  if (square < 0) return least;
  const double q = -0.5 * (b + std::copysign(std::sqrt(square), b));
  for (double u : {q / a, 1 / q})
    if (u > 0) least = std::min(least, u);
  return std::sqrt(least);
}

// The radius that is seen at `seen`; not a number when none is.
double undone(const Lens& l, double seen) {
  double low = 0, high = turning(l);
  if (std::isinf(high)) {
    high = std::max(1.0, seen);
    while (high * stretch(l, high * high) < seen) high *= 2;
  } else if (!(high * stretch(l, high * high) > seen)) {
    return std::numeric_limits<double>::quiet_NaN();
  }
  double r = std::min(seen, 0.5 * (low + high));
  for (int i = 0; i < 100; ++i) {
    const double off = r * stretch(l, r * r) - seen;
    (off > 0 ? high : low) = r;
    double next = r - off / slope(l, r);
    if (!(next > low && next < high)) next = 0.5 * (low + high);
    const double step = std::abs(next - r);
    r = next;
    if (step <= 1e-15 * std::max(1.0, r)) break;
  }
  return r;
}

}  // namespace

std::optional<Point> seen_from_ideal(const Lens& lens, const Point& ideal, double width, double height) {
  if (!ideal.allFinite()) return std::nullopt;
  if (lens.none()) return ideal;
  const Unit u(width, height);
  const Point d = ideal - u.centre;
  const double r = d.norm() / u.length;
  if (!(r < turning(lens))) return std::nullopt;
  return Point(u.centre + d * stretch(lens, r * r));
}

std::optional<Point> ideal_from_seen(const Lens& lens, const Point& seen, double width, double height) {
  if (!seen.allFinite()) return std::nullopt;
  if (lens.none()) return seen;
  const Unit u(width, height);
  const Point d = seen - u.centre;
  const double s = d.norm() / u.length;
  if (s == 0) return seen;
  if (!(s < 1e6)) return std::nullopt;
  const double r = undone(lens, s);
  if (!std::isfinite(r)) return std::nullopt;
  return Point(u.centre + d * (r / s));
}

Eigen::Matrix2d jacobian(const Lens& lens, const Point& ideal, double width, double height) {
  const Unit u(width, height);
  const Point d = (ideal - u.centre) / u.length;
  const double r2 = d.squaredNorm();
  return stretch(lens, r2) * Eigen::Matrix2d::Identity() + (2 * lens.k1 + 4 * lens.k2 * r2) * d * d.transpose();
}

bool covers_picture(const Lens& lens) {
  return std::isfinite(lens.k1) && std::isfinite(lens.k2) && std::isfinite(undone(lens, kCovered));
}

}  // namespace pw
