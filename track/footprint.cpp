#include "track/footprint.h"

#include <Eigen/Dense>
#include <cmath>
#include <vector>

#include "track/spline.h"

namespace pw {
namespace {

constexpr int kBand = 16;
constexpr double kStill = 0.1;  // Ways shorter than this smear nothing that matters, pixels.
constexpr double kShort = 3;    // Ways longer than this spread the samples of the square along themselves.

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

// Of the squares' second moments, up to which they count as a pixel's, however they are turned.
constexpr double kEqual = 0.06;

// A side of `length` pixels: two points hold the box's transfer function to 3 % below half a cycle per pixel.
const Rule& rule(double length) { return kRules[length <= 1.3 ? 1 : length <= 2.2 ? 2 : length <= 3.2 ? 3 : 4]; }

struct Tap {
  float u, v, t;  // Place in the square, in units of its sides; time from -1 (open) to 1 (close).
  float weight;
};

// Samples of square and path, or of the path alone. Short ways take Gauss's rule in time for every place of the square;
// long ones a time of its own for each sample, two or more to the pixel, with the places in turn, mirrored every eight
// samples so that place and time stay uncorrelated.
std::vector<Tap> taps(double length_u, double length_v, double way, bool path_alone) {
  std::vector<Tap> square, all;
  const Rule &u = path_alone ? kRules[0] : rule(length_u), &v = path_alone ? kRules[0] : rule(length_v);
  for (int j = 0; j < v.n; ++j)
    for (int i = 0; i < u.n; ++i) square.push_back({u.at[i], v.at[j], 0, u.weight[i] * v.weight[j]});
  if (way < kStill) return square;
  if (way > kShort && square.size() == 4) {
    constexpr int turn[] = {0, 3, 1, 2, 2, 1, 3, 0};
    const int n = 8 * static_cast<int>(std::ceil(2 * way / 8));
    for (int i = 0; i < n; ++i) {
      Tap t = square[turn[i % 8]];
      t.t = (2 * i + 1 - n) / static_cast<float>(n);
      t.weight = 1.f / static_cast<float>(n);
      all.push_back(t);
    }
    return all;
  }
  if (way <= 3.2) {
    const Rule& time = rule(way);
    for (int k = 0; k < time.n; ++k)
      for (Tap t : square) {
        t.t = 2 * time.at[k];
        t.weight *= time.weight[k];
        all.push_back(t);
      }
    return all;
  }
  const int n = static_cast<int>(std::ceil(way));
  for (int k = 0; k < n; ++k)
    for (Tap t : square) {
      t.t = (2 * k + 1 - n) / static_cast<float>(n);
      t.weight /= static_cast<float>(n);
      all.push_back(t);
    }
  return all;
}

// One homography at one point, with what it does around there.
struct Local {
  double x, y, i;  // The point's image and 1 / w.
};
inline Local local(const Matrix3& h, double x, double y) {
  const double w = h(2, 0) * x + h(2, 1) * y + h(2, 2), i = w > 0 ? 1 / w : std::nan("");
  return {(h(0, 0) * x + h(0, 1) * y + h(0, 2)) * i, (h(1, 0) * x + h(1, 1) * y + h(1, 2)) * i, i};
}

struct Footprint {
  float x, y;            // Centre.
  float ux, uy, vx, vy;  // Sides of the square.
  float px, py, qx, qy;  // The way: p t + q t^2.
};

// The parabola through open at -1, the centre at 0 and close at 1.
inline void set_way(Footprint& f, const Local& open, const Local& middle, const Local& close) {
  f.px = float(0.5 * (close.x - open.x)), f.py = float(0.5 * (close.y - open.y));
  f.qx = float(0.5 * (close.x + open.x) - middle.x), f.qy = float(0.5 * (close.y + open.y) - middle.y);
}

// The longest sides of the parallelograms that box(x) spans, and the longest way, over the window, looked at on a grid.
struct Extent {
  double u = 0, v = 0, way = 0;
  bool equal = true;  // All of them are nearly as large and as round as a pixel, and no way is long.
};
template <class At>
Extent extent(const Rect& w, const At& at) {
  Extent e;
  for (double x : {w.x0 + 0.5, 0.5 * (w.x0 + w.x1), w.x1 - 0.5})
    for (double y : {w.y0 + 0.5, 0.5 * (w.y0 + w.y1), w.y1 - 0.5}) {
      const Footprint f = at(x, y);
      const double u = std::hypot(f.ux, f.uy), v = std::hypot(f.vx, f.vy), way = 2 * std::hypot(f.px, f.py);
      if (!std::isfinite(u + v + way)) continue;
      e.u = std::max(e.u, u), e.v = std::max(e.v, v), e.way = std::max(e.way, way);
      const double xx = f.ux * f.ux + f.vx * f.vx, xy = f.ux * f.uy + f.vx * f.vy, yy = f.uy * f.uy + f.vy * f.vy;
      e.equal = e.equal && std::max({std::abs(xx - 1), std::abs(xy), std::abs(yy - 1)}) < kEqual;
    }
  e.way = std::min(e.way, 400.0);
  e.equal = e.equal && e.way <= kShort;
  return e;
}

// The mean over each pixel's taps: kSquare of values of the spline, otherwise of its means over a pixel.
template <bool kSquare, class At>
void average(const Raster& spline, const std::vector<Tap>& pattern, bool moves, Raster& out, const Runner& runner,
             const At& at) {
  const Rect w = out.window();
  const Reach reach = kSquare ? spline_reach(spline.window()) : mean_reach(spline.window());
  runner.run(size_t(w.height() + kBand - 1) / kBand, [&](size_t b) {
    const int y0 = w.y0 + static_cast<int>(b) * kBand, y1 = std::min(w.y1, y0 + kBand);
    for (int y = y0; y < y1; ++y) {
      f4* o = out.row(y);
      for (int x = w.x0; x < w.x1; ++x, ++o) {
        const Footprint f = at(x + 0.5, y + 0.5);
        // How far samples stray from the centre at most.
        float ex = std::abs(f.px) + std::abs(f.qx), ey = std::abs(f.py) + std::abs(f.qy);
        if constexpr (kSquare)
          ex += 0.5f * (std::abs(f.ux) + std::abs(f.vx)), ey += 0.5f * (std::abs(f.uy) + std::abs(f.vy));
        if (!(reach.contains(f.x - ex, f.y - ey) && reach.contains(f.x + ex, f.y + ey))) {
          *o = splat(0);
          continue;
        }
        f4 sum = splat(0);
        for (const Tap& t : pattern) {
          float px = f.x, py = f.y;
          if constexpr (kSquare) px += f.ux * t.u + f.vx * t.v, py += f.uy * t.u + f.vy * t.v;
          if (moves) px += (f.px + f.qx * t.t) * t.t, py += (f.py + f.qy * t.t) * t.t;
          sum += splat(t.weight) * (kSquare ? spline_at(spline, px, py) : spline_mean_at(spline, px, py));
        }
        sum[3] = 1;
        *o = sum;
      }
    }
  });
}

template <class At>
void average(const Raster& spline, Raster& out, const Runner& runner, const At& at) {
  const Extent e = extent(out.window(), at);
  const std::vector<Tap> pattern = taps(e.u, e.v, e.way, e.equal);
  const bool moves = e.way >= kStill;
  if (e.equal)
    average<false>(spline, pattern, moves, out, runner, at);
  else
    average<true>(spline, pattern, moves, out, runner, at);
}

}  // namespace

void see_frame(const Raster& frame_spline, const Matrix3& h, const Path& path, Raster& out, const Runner& runner) {
  const Matrix3 open = h * path.open, close = h * path.close;
  const bool moves = path.length(out.window()) > 0;
  average(frame_spline, out, runner, [&](double x, double y) {
    const Local m = local(h, x, y);
    Footprint f{float(m.x),
                float(m.y),
                float((h(0, 0) - m.x * h(2, 0)) * m.i),
                float((h(1, 0) - m.y * h(2, 0)) * m.i),
                float((h(0, 1) - m.x * h(2, 1)) * m.i),
                float((h(1, 1) - m.y * h(2, 1)) * m.i),
                0,
                0,
                0,
                0};
    if (moves) set_way(f, local(open, x, y), m, local(close, x, y));
    return f;
  });
}

void see_reference(const Raster& ref_spline, const Matrix3& h, const Path& path, Raster& out, const Runner& runner) {
  const bool moves = path.length(out.window()) > 0;
  average(ref_spline, out, runner, [&](double x, double y) {
    const Local m = local(h, x, y);
    const double a = (h(0, 0) - m.x * h(2, 0)) * m.i, b = (h(0, 1) - m.x * h(2, 1)) * m.i;
    const double c = (h(1, 0) - m.y * h(2, 0)) * m.i, d = (h(1, 1) - m.y * h(2, 1)) * m.i, det = 1 / (a * d - b * c);
    Footprint f{float(x), float(y), float(d * det), float(-c * det), float(-b * det), float(a * det), 0, 0, 0, 0};
    if (moves) set_way(f, local(path.open, x, y), Local{x, y, 1}, local(path.close, x, y));
    return f;
  });
}

void nudge(const Raster& seen, const Matrix3& ref_from_ref, Raster& out, const Runner& runner) {
  const Rect w = out.window();
  const int64_t stride = seen.window().width();
  runner.run(size_t(w.height() + kBand - 1) / kBand, [&](size_t b) {
    const int y0 = w.y0 + static_cast<int>(b) * kBand, y1 = std::min(w.y1, y0 + kBand);
    for (int y = y0; y < y1; ++y) {
      const f4* p = &seen.at(w.x0, y);
      f4* o = out.row(y);
      for (int x = w.x0; x < w.x1; ++x, ++p, ++o) {
        const auto at = [&](int64_t step) { return p[step]; };
        // Along the frame's edge, where slopes are not known, it stays as it was.
        if (at(-2)[3] + at(2)[3] + at(-2 * stride)[3] + at(2 * stride)[3] < 4) {
          *o = *p;
          continue;
        }
        const Local l = local(ref_from_ref, x + 0.5, y + 0.5);
        const f4 gx = splat(8) * (at(1) - at(-1)) - (at(2) - at(-2));
        const f4 gy = splat(8) * (at(stride) - at(-stride)) - (at(2 * stride) - at(-2 * stride));
        *o = *p + splat(float(l.x - x - 0.5) / 12) * gx + splat(float(l.y - y - 0.5) / 12) * gy;
        (*o)[3] = 1;
      }
    }
  });
}

}  // namespace pw
