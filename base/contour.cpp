#include "base/contour.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace pw {
namespace {

// The part of a cubic between parameters a and b, by blossoming (de Casteljau).
Cubic part(const Cubic& s, double a, double b) {
  const auto blossom = [&](double u, double v, double w) {
    const auto mix = [](const Point& p, const Point& q, double t) -> Point { return p + t * (q - p); };
    const Point p01 = mix(s[0], s[1], u), p12 = mix(s[1], s[2], u), p23 = mix(s[2], s[3], u);
    return mix(mix(p01, p12, v), mix(p12, p23, v), w);
  };
  return {a == 0 ? s[0] : blossom(a, a, a), blossom(a, a, b), blossom(a, b, b), b == 1 ? s[3] : blossom(b, b, b)};
}

}  // namespace

Cubic segment(const Contour& c, size_t i) {
  const Knot& a = c.knots[i];
  const Knot& b = c.knots[i + 1 == c.knots.size() ? 0 : i + 1];
  return {a.at, a.out, b.in, b.at};
}

Point at(const Cubic& s, double t) {
  const double r = 1 - t;
  return r * r * r * s[0] + 3 * r * r * t * s[1] + 3 * r * t * t * s[2] + t * t * t * s[3];
}

Contour polygon(std::span<const Point> corners) {
  Contour c;
  const size_t n = corners.size();
  for (size_t i = 0; i < n; ++i) {
    const Point& p = corners[i];
    c.knots.push_back({p, p + (corners[(i + n - 1) % n] - p) / 3, p + (corners[(i + 1) % n] - p) / 3});
  }
  return c;
}

Contour ellipse(const Point& centre, double rx, double ry) {
  constexpr int kParts = 8;
  const double handle = 4.0 / 3 * std::tan(std::numbers::pi / (2 * kParts));
  Contour c;
  for (int i = 0; i < kParts; ++i) {
    const double a = 2 * std::numbers::pi * i / kParts;
    const Point r(rx, ry), to(std::cos(a), std::sin(a)), along(-std::sin(a), std::cos(a));
    c.knots.push_back({centre + r.cwiseProduct(to), centre + r.cwiseProduct(to - handle * along),
                       centre + r.cwiseProduct(to + handle * along)});
  }
  return c;
}

Contour reversed(const Contour& c) {
  Contour r = c;
  std::reverse(r.knots.begin(), r.knots.end());
  for (Knot& k : r.knots) std::swap(k.in, k.out);
  return r;
}

Contour cut(const Contour& c, std::span<const double> places) {
  Contour r{{}, c.path, c.rule};
  const size_t n = c.knots.size(), m = places.size();
  r.knots.resize(m);
  for (size_t j = 0; j < m; ++j) {
    const double a = places[j], b = j + 1 < m ? places[j + 1] : places[0] + static_cast<double>(n);
    const double first = std::floor(a);
    const Cubic s = part(segment(c, static_cast<size_t>(first) % n), a - first, b - first);
    r.knots[j].at = s[0];
    r.knots[j].out = s[1];
    r.knots[(j + 1) % m].in = s[2];
  }
  return r;
}

Contour mapped(const Contour& c, const Matrix3& h) {
  Contour r = c;
  for (Knot& k : r.knots) k = {map(h, k.at), map(h, k.in), map(h, k.out)};
  return r;
}

Shape mapped(const Shape& s, const Matrix3& h) {
  Shape r;
  for (const Contour& c : s.contours) r.contours.push_back(mapped(c, h));
  return r;
}

Contour with_sides_below(const Contour& c, double length_px) {
  std::vector<double> places;
  for (size_t i = 0; i < c.knots.size(); ++i) {
    const Cubic s = segment(c, i);
    const double length = (s[1] - s[0]).norm() + (s[2] - s[1]).norm() + (s[3] - s[2]).norm();
    const int parts = std::clamp(static_cast<int>(std::ceil(std::min(length / length_px, 1e4))), 1, 10000);
    for (int k = 0; k < parts; ++k) places.push_back(static_cast<double>(i) + static_cast<double>(k) / parts);
  }
  return places.empty() ? c : cut(c, places);
}

double signed_area(const Contour& c) {
  double twice = 0;  // Integral of x dy - y dx; of a Bernstein product over a segment, in closed form.
  const auto cross = [](const Point& a, const Point& b) { return a.x() * b.y() - a.y() * b.x(); };
  const Point o = c.knots.empty() ? Point(0, 0) : c.knots[0].at;
  for (size_t i = 0; i < c.knots.size(); ++i) {
    const Cubic s = segment(c, i);
    const Point a = s[0] - o, b = s[1] - o, d = s[2] - o, e = s[3] - o;
    twice +=
        (6 * cross(a, b) + 3 * cross(a, d) + cross(a, e) + 3 * cross(b, d) + 3 * cross(b, e) + 6 * cross(d, e)) / 10;
  }
  return twice / 2;
}

Rect bounds(const Shape& s) {
  constexpr double kFar = 1 << 20;
  Point lo(kFar, kFar), hi(-kFar, -kFar);
  bool any = false;
  for (const Contour& c : s.contours)
    for (const Knot& k : c.knots)
      for (const Point& p : {k.at, k.in, k.out}) lo = lo.cwiseMin(p), hi = hi.cwiseMax(p), any = true;
  if (!any) return {};
  const auto whole = [&](double v) { return static_cast<int>(std::clamp(v, -kFar, kFar)); };
  return {whole(std::floor(lo.x())), whole(std::floor(lo.y())), whole(std::ceil(hi.x())), whole(std::ceil(hi.y()))};
}

}  // namespace pw
