#include "track/footprint.h"

#include <Eigen/Dense>
#include <cmath>
#include <vector>

namespace pw {
namespace {

constexpr int kBand = 16;
constexpr double kStill = 0.1;  // Ways shorter than this smear nothing that matters, pixels.
constexpr double kPart = 2.2;   // Of a longer way than Gauss's rule takes in one piece, pixels.
constexpr double kFar = 8;      // Squares are not looked at anew all along ways longer than this.

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

// The box convolved with (1 4 1) / 6, the kernel that a spline has whose coefficients are the pixels themselves: three
// points with its second and fourth moments where a side is short, else Gauss's rule about each of the three.
struct SoftRule {
  int n;
  float at[9], weight[9];
};
SoftRule soft(const Rule& box) {
  if (box.n == 2) return {3, {-1.109053651f, 0, 1.109053651f}, {0.169376694f, 0.661246612f, 0.169376694f}};
  SoftRule s{0, {}, {}};
  const int n = std::min(box.n, 3);
  for (int shift = -1; shift <= 1; ++shift)
    for (int i = 0; i < n; ++i) {
      const Rule& r = kRules[n - 1];
      s.at[s.n] = static_cast<float>(shift) + r.at[i];
      s.weight[s.n++] = r.weight[i] * (shift == 0 ? 4 : 1) / 6.f;
    }
  return s;
}

struct Tap {
  float u, v, t;  // Place in the square, in units of its sides; time from -1 (open) to 1 (close).
  float weight;
};

std::vector<Tap> square_taps(double length_u, double length_v, bool softened) {
  std::vector<Tap> all;
  const Rule &u = rule(length_u), &v = rule(length_v);
  if (softened) {
    const SoftRule su = soft(u), sv = soft(v);
    for (int j = 0; j < sv.n; ++j)
      for (int i = 0; i < su.n; ++i) all.push_back({su.at[i], sv.at[j], 0, su.weight[i] * sv.weight[j]});
  } else {
    for (int j = 0; j < v.n; ++j)
      for (int i = 0; i < u.n; ++i) all.push_back({u.at[i], v.at[j], 0, u.weight[i] * v.weight[j]});
  }
  return all;
}

// Samples of square and path: for every place of the square Gauss's rule in time, in one part or in some.
std::vector<Tap> taps(const std::vector<Tap>& square, double way) {
  if (way < kStill) return square;
  const int parts = way <= 3.2 ? 1 : static_cast<int>(std::ceil(way / kPart));
  const Rule& time = parts == 1 ? rule(way) : kRules[2];
  std::vector<Tap> all;
  for (int part = 0; part < parts; ++part)
    for (int k = 0; k < time.n; ++k)
      for (Tap t : square) {
        t.t = 2 * (static_cast<float>(part) + 0.5f + time.at[k]) / static_cast<float>(parts) - 1;
        t.weight *= time.weight[k] / static_cast<float>(parts);
        all.push_back(t);
      }
  return all;
}

using d4 = double __attribute__((vector_size(32)));

// The images of points by three homographies at once.
struct Three {
  d4 h[9];
  Three(const Matrix3& a, const Matrix3& b, const Matrix3& c) {
    for (int i = 0; i < 9; ++i) h[i] = d4{a(i / 3, i % 3), b(i / 3, i % 3), c(i / 3, i % 3), i == 8 ? 1.0 : 0.0};
  }
  void map(double x, double y, d4& u, d4& v) const {
    const d4 px{x, x, x, x}, py{y, y, y, y}, w = h[6] * px + h[7] * py + h[8];
    const d4 i = w > 0 ? 1 / w : w - w + std::nan("");
    u = (h[0] * px + h[1] * py + h[2]) * i, v = (h[3] * px + h[4] * py + h[5]) * i;
  }
};

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

// The parabola through open at -1, the centre at 0 and close at 1, by those three homographies.
inline void set_way(Footprint& f, const Three& path, double x, double y) {
  d4 u, v;
  path.map(x, y, u, v);
  f.px = float(0.5 * (u[2] - u[0])), f.py = float(0.5 * (v[2] - v[0]));
  f.qx = float(0.5 * (u[2] + u[0]) - u[1]), f.qy = float(0.5 * (v[2] + v[0]) - v[1]);
}

// The longest sides of the parallelograms that box(x) spans, and the longest way, over the window, looked at on a grid.
struct Extent {
  double u = 0, v = 0, way = 0;
  bool equal = true;  // All of them are nearly as large and as round as a pixel.
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
  return e;
}

// The mean over each pixel's taps: kSquare of values of the spline, otherwise of its means over a pixel.
// `inside(footprint)` says whether all of it is known; elsewhere the pixel is `outside(footprint)`.
template <bool kSquare, class At, class Inside, class Outside>
void average(const Raster& spline, const std::vector<Tap>& pattern, Raster& out, const Runner& runner, const At& at,
             const Inside& inside, const Outside& outside) {
  const Rect w = out.window();
  const bool moves = pattern.back().t != 0;
  runner.run(size_t(w.height() + kBand - 1) / kBand, [&](size_t b) {
    const int y0 = w.y0 + static_cast<int>(b) * kBand, y1 = std::min(w.y1, y0 + kBand);
    for (int y = y0; y < y1; ++y) {
      f4* o = out.row(y);
      for (int x = w.x0; x < w.x1; ++x, ++o) {
        const Footprint f = at(x + 0.5, y + 0.5);
        if (!inside(f)) {
          *o = outside(f);
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

Reach shrunk(const Reach& r, float by) { return {r.x0 + by, r.y0 + by, r.x1 - by, r.y1 - by}; }

Reach overlap(const Reach& a, const Reach& b) {
  return {std::max(a.x0, b.x0), std::max(a.y0, b.y0), std::min(a.x1, b.x1), std::min(a.y1, b.y1)};
}

// Where means over a pixel are known, about as far inside as half a pixel's samples would have to be.
Reach mean_reach(const SplinePicture& p) { return overlap(mean_reach(p.spline.window()), shrunk(p.real, 0.5f)); }

// All samples of a footprint lie in `reach`: of its way alone, or of squares with `far` sides from their middle at
// most.
inline bool contains(const Reach& reach, const Footprint& f, float ex, float ey) {
  ex += std::abs(f.px) + std::abs(f.qx), ey += std::abs(f.py) + std::abs(f.qy);
  return reach.contains(f.x - ex, f.y - ey) && reach.contains(f.x + ex, f.y + ey);
}
auto inside(const Reach& reach) {
  return [reach](const Footprint& f) { return contains(reach, f, 0, 0); };
}
auto inside(const Reach& reach, float far) {
  return [reach, far](const Footprint& f) {
    return contains(reach, f, far * (std::abs(f.ux) + std::abs(f.vx)), far * (std::abs(f.uy) + std::abs(f.vy)));
  };
}

f4 unknown(const Footprint&) { return splat(0); }

// Ways along means over a pixel.
std::vector<Tap> way_taps(double way) { return taps({Tap{0, 0, 0, 1}}, way); }

// The squares of `pixel`, then the way over that, which is the same where the homography changes little along the way.
// `known(x, y)`: whether all of both is.
template <class Pixel, class Known>
void in_two_steps(const Raster& spline, const std::vector<Tap>& square, float far, const Path& path, Raster& out,
                  const Runner& runner, const Pixel& pixel, const Known& known) {
  const double longest = std::min(path.length(out.window()), 400.0);
  Raster wide(out.window().grown(static_cast<int>(std::ceil(longest / 2)) + 4));
  // No step where the picture ends: a spline would swing about it.
  const Reach reach = spline_reach(spline.window());
  const auto nearest = [&](const Footprint& f) {
    if (!(std::isfinite(f.x) && std::isfinite(f.y))) return splat(0);
    return spline_at(spline, std::clamp(f.x, reach.x0, reach.x1 - 0.01f), std::clamp(f.y, reach.y0, reach.y1 - 0.01f));
  };
  average<true>(spline, square, wide, runner, pixel, inside(reach, far), nearest);
  to_spline(wide);
  const Three around(path.open, Matrix3::Identity(), path.close);
  const auto way = [&](double x, double y) {
    Footprint f{float(x), float(y), 0, 0, 0, 0, 0, 0, 0, 0};
    set_way(f, around, x, y);
    return f;
  };
  const auto inside_both = [&, ours = inside(spline_reach(wide.window()))](const Footprint& f) {
    return ours(f) && known(double(f.x), double(f.y));
  };
  average<true>(wide, way_taps(longest), out, runner, way, inside_both, unknown);
}

}  // namespace

void see_frame(const SplinePicture& frame, const Matrix3& h, const Path& path, Raster& out, const Runner& runner) {
  const Three way(h * path.open, h, h * path.close);
  const bool moves = path.length(out.window()) > 0;
  const auto pixel = [&](double x, double y) {
    const Local m = local(h, x, y);
    return Footprint{float(m.x),
                     float(m.y),
                     float((h(0, 0) - m.x * h(2, 0)) * m.i),
                     float((h(1, 0) - m.y * h(2, 0)) * m.i),
                     float((h(0, 1) - m.x * h(2, 1)) * m.i),
                     float((h(1, 1) - m.y * h(2, 1)) * m.i),
                     0,
                     0,
                     0,
                     0};
  };
  const auto at = [&](double x, double y) {
    Footprint f = pixel(x, y);
    if (moves) set_way(f, way, x, y);
    return f;
  };
  const Extent e = extent(out.window(), at);
  if (e.equal) {
    average<false>(frame.spline, way_taps(e.way), out, runner, at, inside(mean_reach(frame)), unknown);
    return;
  }
  const std::vector<Tap> square = square_taps(e.u, e.v, false);
  const auto known = inside(frame.real, 0.5f);
  if (e.way < kFar)
    average<true>(frame.spline, taps(square, e.way), out, runner, at, known, unknown);
  else
    in_two_steps(frame.spline, square, 0.5f, path, out, runner, pixel,
                 [&](double x, double y) { return known(at(x, y)); });
}

void see_reference(const SplinePicture& reference, const Matrix3& h, const Path& path, bool soft_frame, Raster& out,
                   const Runner& runner) {
  const bool moves = path.length(out.window()) > 0;
  const Three around(path.open, Matrix3::Identity(), path.close);
  const auto pixel = [&](double x, double y) {
    const Local m = local(h, x, y);
    const double a = (h(0, 0) - m.x * h(2, 0)) * m.i, b = (h(0, 1) - m.x * h(2, 1)) * m.i;
    const double c = (h(1, 0) - m.y * h(2, 0)) * m.i, d = (h(1, 1) - m.y * h(2, 1)) * m.i, det = 1 / (a * d - b * c);
    return Footprint{float(x), float(y), float(d * det), float(-c * det), float(-b * det), float(a * det), 0, 0, 0, 0};
  };
  const auto whole = [&](double x, double y) {
    Footprint f = pixel(x, y);
    if (moves) set_way(f, around, x, y);
    return f;
  };
  const Extent e = extent(out.window(), whole);
  if (e.equal && !soft_frame) {
    average<false>(reference.spline, way_taps(e.way), out, runner, whole, inside(mean_reach(reference)), unknown);
    return;
  }
  const std::vector<Tap> square = square_taps(e.u, e.v, soft_frame);
  const float far = soft_frame ? 1.5f : 0.5f;
  const auto known = inside(reference.real, far);
  if (e.way < kStill || (!soft_frame && e.way < kFar))
    average<true>(reference.spline, taps(square, e.way), out, runner, whole, known, unknown);
  else
    in_two_steps(reference.spline, square, far, path, out, runner, pixel,
                 [&](double x, double y) { return known(whole(x, y)); });
}

void nudge(const Raster& seen, const Matrix3& ref_from_ref, Raster& out, const Runner& runner) {
  const Rect w = out.window();
  const int64_t stride = seen.window().width();
  runner.run(size_t(w.height() + kBand - 1) / kBand, [&](size_t b) {
    const int y0 = w.y0 + static_cast<int>(b) * kBand, y1 = std::min(w.y1, y0 + kBand);
    for (int y = y0; y < y1; ++y) {
      const f4* p = &seen.at(w.x0, y);
      f4* o = out.row(y);
      // The way, in twelfths, changes little from pixel to pixel: it is asked of every kBand-th and straight in
      // between.
      const auto way_at = [&](int x) {
        const Local l = local(ref_from_ref, x + 0.5, y + 0.5);
        return f4{float(l.x - x - 0.5) / 12, float(l.y - y - 0.5) / 12, 0, 0};
      };
      int start = w.x0;
      f4 from = way_at(start), next = from, along = splat(0);
      for (int x = w.x0; x < w.x1; ++x, ++p, ++o) {
        if ((x - w.x0) % kBand == 0) {
          start = x, from = next, next = way_at(x + kBand);
          along = (next - from) * splat(1.f / kBand);
        }
        const auto at = [&](int64_t step) { return p[step]; };
        // Along the frame's edge, where slopes are not known, it stays as it was.
        if (at(-2)[3] + at(2)[3] + at(-2 * stride)[3] + at(2 * stride)[3] < 4) {
          *o = *p;
          continue;
        }
        const f4 gx = splat(8) * (at(1) - at(-1)) - (at(2) - at(-2));
        const f4 gy = splat(8) * (at(stride) - at(-stride)) - (at(2 * stride) - at(-2 * stride));
        const f4 way = from + along * splat(float(x - start));
        *o = *p + splat(way[0]) * gx + splat(way[1]) * gy;
        (*o)[3] = 1;
      }
    }
  });
}

}  // namespace pw
