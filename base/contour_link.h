// What matching two drawings of a contour works with: lengths, places, and points taken as complex numbers.
#pragma once
#include <algorithm>
#include <cmath>
#include <complex>
#include <numeric>
#include <vector>

#include "base/contour.h"

namespace pw {

constexpr double kSamePlace = 1e-6;  // Places closer than this are one.

// Length along a contour against its parameter, both piecewise linear on one table, so that they invert each other.
class Length {
 public:
  explicit Length(const Contour& c) {
    constexpr int kSteps = 16;
    double total = 0;
    Point last = c.knots[0].at;
    for (size_t i = 0; i < c.knots.size(); ++i) {
      const Cubic s = segment(c, i);
      for (int k = 0; k < kSteps; ++k) {
        place_.push_back(static_cast<double>(i) + static_cast<double>(k) / kSteps);
        share_.push_back(total);
        const Point next = pw::at(s, (k + 1.0) / kSteps);
        total += std::max((next - last).norm(), 1e-9);  // Strictly rising, also where knots coincide.
        last = next;
      }
    }
    place_.push_back(static_cast<double>(c.knots.size()));
    share_.push_back(total);
    for (double& s : share_) s /= total;
  }
  double share(double place) const { return follow(place_, share_, place); }
  double place(double share) const { return follow(share_, place_, share); }

  // y at x of the broken line through (xs, ys), xs rising.
  static double follow(const std::vector<double>& xs, const std::vector<double>& ys, double x) {
    const auto it = std::upper_bound(xs.begin() + 1, xs.end() - 1, x);
    const size_t i = static_cast<size_t>(it - xs.begin());
    return ys[i - 1] + (x - xs[i - 1]) / (xs[i] - xs[i - 1]) * (ys[i] - ys[i - 1]);
  }

 private:
  std::vector<double> place_, share_;
};

inline double wrapped(double x, double period) {
  const double r = x - std::floor(x / period) * period;
  return r < period ? r : 0;
}

// Place on one drawing <-> place on the next one.
struct Link {
  double n = 0, m = 0;                    // Segments of either.
  double start = 0, next_start = 0;       // Places that correspond.
  std::vector<double> ahead, next_ahead;  // Rising, from 0 to n and to m: further ones, counted from there; empty: the
                                          // same way on both.

  double forth(double x) const {
    const double way = wrapped(x - start, n);
    return wrapped((ahead.empty() ? way : Length::follow(ahead, next_ahead, way)) + next_start, m);
  }
  double back(double y) const {
    const double way = wrapped(y - next_start, m);
    return wrapped((ahead.empty() ? way : Length::follow(next_ahead, ahead, way)) + start, n);
  }
};

using Plane = std::vector<std::complex<double>>;

inline Plane centred(Plane p) {
  const std::complex<double> mean = std::accumulate(p.begin(), p.end(), std::complex<double>()) / double(p.size());
  for (auto& z : p) z -= mean;
  return p;
}

inline double energy(const Plane& p) {
  double e = 0;
  for (const auto& z : p) e += std::norm(z);
  return e;
}

}  // namespace pw
