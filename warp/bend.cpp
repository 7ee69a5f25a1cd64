#include "warp/bend.h"

#include <Eigen/LU>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "warp/sampler.h"

namespace pw {
namespace {

constexpr int kStep = Bend::kStep;
constexpr double kThird = 0.1;  // Third difference; a fortieth of it is what the convolution may be wrong by, pixels.

int cell_of(int x) { return x >= 0 ? x / kStep : -((kStep - 1 - x) / kStep); }

// Cubic convolution with a = -1/2 at a share u of a step, and its derivative by u.
struct Four {
  std::array<double, 4> w, d;
};
Four four(double u) {
  const double u2 = u * u, u3 = u2 * u;
  return {{-0.5 * u3 + u2 - 0.5 * u, 1.5 * u3 - 2.5 * u2 + 1, -1.5 * u3 + 2 * u2 + 0.5 * u, 0.5 * u3 - 0.5 * u2},
          {-1.5 * u2 + 2 * u - 0.5, 4.5 * u2 - 5 * u, -4.5 * u2 + 4 * u + 0.5, 1.5 * u2 - u}};
}
const Four& four_at(int pixel) {  // 0 <= pixel < kStep, at its centre.
  static const std::array<Four, kStep> all = [] {
    std::array<Four, kStep> made;
    for (int i = 0; i < kStep; ++i) made[i] = four((i + 0.5) / kStep);
    return made;
  }();
  return all[pixel];
}

}  // namespace

const Point& Bend::at(int column, int row) {
  const auto [it, fresh] = known_.try_emplace({row, column}, 0, 0);
  if (fresh) {
    constexpr double kNone = std::numeric_limits<double>::quiet_NaN();
    it->second = map_(Point(double(column) * kStep, double(row) * kStep)).value_or(Point(kNone, kNone));
  }
  return it->second;
}

bool Bend::smooth(int column, int row) {
  const auto [it, fresh] = smooth_.try_emplace({row, column}, true);
  if (!fresh) return it->second;
  double worst = 0;
  const auto take = [&](const Point& a, const Point& b, const Point& c, const Point& d) {
    const double third = (d - 3 * c + 3 * b - a).norm();
    worst = third <= worst ? worst : third;  // Not a number counts as larger.
  };
  for (int k = -1; k < 3; ++k) {
    take(at(column + k, row - 1), at(column + k, row), at(column + k, row + 1), at(column + k, row + 2));
    take(at(column - 1, row + k), at(column, row + k), at(column + 1, row + k), at(column + 2, row + k));
  }
  return it->second = worst < kThird;
}

void Bend::find_place(int x, int y, int i, Places& out) const {
  const Point p(x + 0.5, y + 0.5);
  const auto here = map_(p);
  const auto left = map_(p - Point(0.25, 0)), right = map_(p + Point(0.25, 0));
  const auto up = map_(p - Point(0, 0.25)), down = map_(p + Point(0, 0.25));
  if (!here || !left || !right || !up || !down) {
    out.x[i] = std::numeric_limits<double>::quiet_NaN(), out.y[i] = 0;
    out.xx[i] = out.yy[i] = 1, out.xy[i] = out.yx[i] = 0;
    return;
  }
  const Point dx = 2 * (*right - *left), dy = 2 * (*down - *up);
  out.x[i] = here->x(), out.y[i] = here->y();
  out.xx[i] = float(dx.x()), out.yx[i] = float(dx.y());
  out.xy[i] = float(dy.x()), out.yy[i] = float(dy.y());
}

void Bend::find_places(int x0, int y, int count, Places& out) {
  out.count = count;
  const int row = cell_of(y), first = cell_of(x0) - 1, last = cell_of(x0 + count - 1) + 2;
  const Four& v = four_at(y - row * kStep);
  std::array<Point, Places::kRun / kStep + 5> place, down;  // Of this row's columns, and its change by y.
  for (int c = first; c <= last; ++c) {
    Point p(0, 0), d(0, 0);
    for (int k = 0; k < 4; ++k) p += v.w[k] * at(c, row - 1 + k), d += v.d[k] / kStep * at(c, row - 1 + k);
    place[c - first] = p, down[c - first] = d;
  }
  for (int i = 0; i < count; ++i) {
    const int c = cell_of(x0 + i);
    if (!smooth(c, row)) {
      find_place(x0 + i, y, i, out);
      continue;
    }
    const Four& h = four_at(x0 + i - c * kStep);
    Point p(0, 0), dx(0, 0), dy(0, 0);
    for (int k = 0; k < 4; ++k) {
      const int j = c - 1 + k - first;
      p += h.w[k] * place[j], dx += h.d[k] / kStep * place[j], dy += h.w[k] * down[j];
    }
    out.x[i] = p.x(), out.y[i] = p.y();
    out.xx[i] = float(dx.x()), out.yx[i] = float(dx.y());
    out.xy[i] = float(dy.x()), out.yy[i] = float(dy.y());
  }
}

Rect Bend::reach(const Rect& out, const Rect& source_window, const ResampleOptions& options) {
  constexpr int kWide = 2 * kStep;
  Rect all;
  if (out.empty() || source_window.empty()) return all;
  for (int r = cell_of(out.y0) & ~1; r * kStep < out.y1; r += 2)
    for (int c = cell_of(out.x0) & ~1; c * kStep < out.x1; c += 2) {
      const Rect block = intersect(out, Rect::sized(kWide, kWide).moved(c * kStep, r * kStep));
      if (block.empty()) continue;
      const double x = double(c) * kStep, y = double(r) * kStep;
      const Quad from{Point(x, y), Point(x + kWide, y), Point(x + kWide, y + kWide), Point(x, y + kWide)};
      const Quad to{at(c, r), at(c + 2, r), at(c + 2, r + 2), at(c, r + 2)};
      int seen = 0;
      for (const Point& p : to) seen += p.allFinite();
      if (seen == 0) continue;
      const auto h = seen == 4 ? homography(from, to) : std::nullopt;
      const Point middle = h ? map(*h, Point(x + kStep, y + kStep)) : Point(NAN, NAN);
      const double off = (middle - at(c + 1, r + 1)).norm();
      if (!(off < 1000)) return source_window;
      all = unite(all, source_reach(h->inverse(), block, source_window, options).grown(int(std::ceil(2 * off)) + 1));
    }
  return intersect(all, source_window);
}

Picture resample(const Picture& source, const Bend::SourceFromOut& source_from_out, const Rect& out,
                 const ResampleOptions& options) {
  if (source.empty() || out.empty()) return Canvas::clear(out, source.channels()).finish();
  Bend bend(source_from_out);
  Canvas canvas(out, source.channels());
  Sampler sampler(source, options);
  Places places;
  for (int y = out.y0; y < out.y1; ++y)
    for (int x = out.x0; x < out.x1; x += Places::kRun) {
      bend.find_places(x, y, std::min(Places::kRun, out.x1 - x), places);
      sampler.sample(places, canvas.at(x, y));
    }
  return std::move(canvas).finish();
}

}  // namespace pw
