// Shapes that tests draw, and how far curves lie apart.
#pragma once
#include <algorithm>
#include <vector>

#include "base/contour.h"

namespace pw {

// Lopsided, so that no turn maps it to itself.
inline Contour kite(const Point& at, double size = 1) {
  std::vector<Point> p{{0, 0}, {60, 10}, {80, 50}, {20, 90}, {-10, 40}};
  for (Point& q : p) q = at + size * q;
  return polygon(p);
}

inline double distance(const Point& p, const Point& a, const Point& b) {
  const double t = (b - a).squaredNorm() > 0 ? std::clamp((p - a).dot(b - a) / (b - a).squaredNorm(), 0.0, 1.0) : 0;
  return (a + t * (b - a) - p).norm();
}

// Farthest distance of points of `a` from the curve `b`, drawn with 100 chords a segment.
inline double apart(const Contour& a, const Contour& b) {
  double worst = 0;
  for (size_t i = 0; i < a.knots.size(); ++i)
    for (double t = 0; t < 1; t += 0.25) {
      const Point p = at(segment(a, i), t);
      double nearest = 1e9;
      for (size_t j = 0; j < b.knots.size(); ++j)
        for (int k = 0; k < 100; ++k)
          nearest = std::min(nearest, distance(p, at(segment(b, j), k / 100.0), at(segment(b, j), (k + 1) / 100.0)));
      worst = std::max(worst, nearest);
    }
  return worst;
}

}  // namespace pw
