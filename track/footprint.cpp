#include "track/footprint.h"

#include <Eigen/Dense>
#include <cmath>
#include <vector>

#include "track/spline.h"

namespace pw {
namespace {

constexpr int kBand = 16;

// Gauss and Legendre's rule with n points on [-1/2, 1/2].
struct Rule {
  int n;
  float at[5], weight[5];
};
constexpr Rule kRules[] = {{1, {0}, {1}},
                           {2, {-0.288675135f, 0.288675135f}, {0.5f, 0.5f}},
                           {3, {-0.387298335f, 0, 0.387298335f}, {0.277777778f, 0.444444444f, 0.277777778f}},
                           {4,
                            {-0.430568156f, -0.169990522f, 0.169990522f, 0.430568156f},
                            {0.173927423f, 0.326072577f, 0.326072577f, 0.173927423f}},
                           {5,
                            {-0.453089923f, -0.269234655f, 0, 0.269234655f, 0.453089923f},
                            {0.118463443f, 0.239314335f, 0.284444444f, 0.239314335f, 0.118463443f}}};

// A side of `length` pixels: two points hold the box's transfer function to 3 % below half a cycle per pixel.
const Rule& rule(double length) { return kRules[length <= 1.3 ? 1 : length <= 2.2 ? 2 : length <= 3.2 ? 3 : 4]; }

struct Tap {
  float x, y, weight;  // In units of the square's sides.
};

std::vector<Tap> taps(double length_u, double length_v) {
  std::vector<Tap> all;
  const Rule &u = rule(length_u), &v = rule(length_v);
  for (int j = 0; j < v.n; ++j)
    for (int i = 0; i < u.n; ++i) all.push_back({u.at[i], v.at[j], u.weight[i] * v.weight[j]});
  return all;
}

// The longest sides of the parallelogram that box(x) spans over the window, sampled at its corners and middle.
template <class Box>
std::vector<Tap> taps_for(const Rect& w, const Box& box) {
  double u = 0, v = 0;
  for (double x : {w.x0 + 0.5, 0.5 * (w.x0 + w.x1), w.x1 - 0.5})
    for (double y : {w.y0 + 0.5, 0.5 * (w.y0 + w.y1), w.y1 - 0.5}) {
      const Eigen::Matrix2d b = box(Point(x, y));
      if (!b.allFinite()) continue;
      u = std::max(u, b.col(0).norm()), v = std::max(v, b.col(1).norm());
    }
  return taps(u, v);
}

struct Footprint {
  float x, y;            // Centre.
  float ux, uy, vx, vy;  // Sides.
};

template <class At>
void average(const Raster& spline, const std::vector<Tap>& taps, Raster& out, const Runner& runner, const At& at) {
  const Rect w = out.window();
  const Reach reach = spline_reach(spline.window());
  const auto band = [&](size_t b) {
    const int y0 = w.y0 + static_cast<int>(b) * kBand, y1 = std::min(w.y1, y0 + kBand);
    for (int y = y0; y < y1; ++y) {
      f4* o = out.row(y);
      for (int x = w.x0; x < w.x1; ++x, ++o) {
        const Footprint f = at(x + 0.5, y + 0.5);
        f4 sum = splat(0);
        bool inside = true;
        for (const Tap& t : taps) {
          const float px = f.x + (f.ux * t.x + f.vx * t.y), py = f.y + (f.uy * t.x + f.vy * t.y);
          if (!(inside = reach.contains(px, py))) break;
          sum += splat(t.weight) * spline_at(spline, px, py);
        }
        sum[3] = 1;
        *o = inside ? sum : splat(0);
      }
    }
  };
  runner.run(size_t(w.height() + kBand - 1) / kBand, band);
}

}  // namespace

void see_frame(const Raster& frame_spline, const Matrix3& h, Raster& out, const Runner& runner) {
  const auto box = [&](const Point& p) { return jacobian(h, p); };
  average(frame_spline, taps_for(out.window(), box), out, runner, [&h](double x, double y) {
    const double w = h(2, 0) * x + h(2, 1) * y + h(2, 2), i = w > 0 ? 1 / w : std::nan("");
    const double px = (h(0, 0) * x + h(0, 1) * y + h(0, 2)) * i, py = (h(1, 0) * x + h(1, 1) * y + h(1, 2)) * i;
    return Footprint{float(px),
                     float(py),
                     float((h(0, 0) - px * h(2, 0)) * i),
                     float((h(1, 0) - py * h(2, 0)) * i),
                     float((h(0, 1) - px * h(2, 1)) * i),
                     float((h(1, 1) - py * h(2, 1)) * i)};
  });
}

void see_reference(const Raster& ref_spline, const Matrix3& h, Raster& out, const Runner& runner) {
  const auto box = [&](const Point& p) { return Eigen::Matrix2d(jacobian(h, p).inverse()); };
  average(ref_spline, taps_for(out.window(), box), out, runner, [&h](double x, double y) {
    const double w = h(2, 0) * x + h(2, 1) * y + h(2, 2), i = w > 0 ? 1 / w : std::nan("");
    const double px = (h(0, 0) * x + h(0, 1) * y + h(0, 2)) * i, py = (h(1, 0) * x + h(1, 1) * y + h(1, 2)) * i;
    const double a = (h(0, 0) - px * h(2, 0)) * i, b = (h(0, 1) - px * h(2, 1)) * i;
    const double c = (h(1, 0) - py * h(2, 0)) * i, d = (h(1, 1) - py * h(2, 1)) * i, det = 1 / (a * d - b * c);
    return Footprint{float(x), float(y), float(d * det), float(-c * det), float(-b * det), float(a * det)};
  });
}

}  // namespace pw
