#include "track/footprint.h"

#include <Eigen/Dense>
#include <cmath>
#include <vector>

namespace pw {
namespace {

constexpr int kBand = 16;
constexpr float kClipped = 0.02f;  // Share of clipped pixels from which a mean tells nothing.
constexpr double kStill = 0.1;     // Ways shorter than this smear nothing that matters, pixels.

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

// Samples of square and path. Short ways take Gauss's rule in time for every place of the square; long ones a time of
// its own for each sample, with the places in turn, forth and back so that place and time stay uncorrelated.
std::vector<Tap> taps(const std::vector<Tap>& square, double way) {
  if (way < kStill) return square;
  std::vector<Tap> all;
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
  // Neighbours in turn should lie apart: step through the square by a number that shares no divisor with its size.
  const int m = static_cast<int>(square.size()), stride = m == 4 ? 3 : m % 5 ? 5 : 7;
  const int rounds = static_cast<int>(std::ceil(way * std::max(2.0, m / 3.0) / (2 * m))), n = 2 * m * rounds;
  for (int i = 0; i < n; ++i) {
    const int turn = i % (2 * m), k = turn < m ? turn : 2 * m - 1 - turn;
    Tap t = square[k * stride % m];
    t.t = static_cast<float>(2 * i + 1 - n) / static_cast<float>(n);
    t.weight *= 1.f / static_cast<float>(2 * rounds);
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
    }
  e.way = std::min(e.way, 400.0);
  return e;
}

// `inside(footprint)` says whether all of it is known.
template <class At, class Inside>
void average(const Raster& spline, const std::vector<Tap>& pattern, Raster& out, const Runner& runner, const At& at,
             const Inside& inside) {
  const Rect w = out.window();
  const bool moves = pattern.back().t != 0;
  const auto band = [&](size_t b) {
    const int y0 = w.y0 + static_cast<int>(b) * kBand, y1 = std::min(w.y1, y0 + kBand);
    for (int y = y0; y < y1; ++y) {
      f4* o = out.row(y);
      for (int x = w.x0; x < w.x1; ++x, ++o) {
        const Footprint f = at(x + 0.5, y + 0.5);
        if (!inside(f)) {
          *o = splat(0);
          continue;
        }
        f4 sum = splat(0);
        for (const Tap& t : pattern) {
          float px = f.x + (f.ux * t.u + f.vx * t.v), py = f.y + (f.uy * t.u + f.vy * t.v);
          if (moves) px += (f.px + f.qx * t.t) * t.t, py += (f.py + f.qy * t.t) * t.t;
          sum += splat(t.weight) * spline_at(spline, px, py);
        }
        *o = sum;
      }
    }
  };
  runner.run(size_t(w.height() + kBand - 1) / kBand, band);
}

// All samples of a footprint lie in `reach`; `far` sides of the square from its middle at most.
auto inside(const Reach& reach, float far) {
  return [reach, far](const Footprint& f) {
    const float ex = far * (std::abs(f.ux) + std::abs(f.vx)) + std::abs(f.px) + std::abs(f.qx);
    const float ey = far * (std::abs(f.uy) + std::abs(f.vy)) + std::abs(f.py) + std::abs(f.qy);
    return reach.contains(f.x - ex, f.y - ey) && reach.contains(f.x + ex, f.y + ey);
  };
}

// From the mean of clipped pixels to known or not; where `known` says no, all is 0.
template <class At, class Known>
void settle(Raster& out, const At& at, const Known& known) {
  const Rect w = out.window();
  for (int y = w.y0; y < w.y1; ++y)
    for (int x = w.x0; x < w.x1; ++x) {
      f4& v = out.at(x, y);
      if (std::abs(v[3]) < kClipped && known(at(x + 0.5, y + 0.5)))
        v[3] = 1;
      else
        v = splat(0);
    }
}

}  // namespace

void see_frame(const SplinePicture& frame, const Matrix3& h, const Path& path, Raster& out, const Runner& runner) {
  const Matrix3 open = h * path.open, close = h * path.close;
  const bool moves = path.length(out.window()) > 0;
  const auto at = [&](double x, double y) {
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
  };
  const Extent e = extent(out.window(), at);
  const auto known = inside(frame.real, 0.5f);
  average(frame.spline, taps(square_taps(e.u, e.v, false), e.way), out, runner, at, known);
  settle(out, at, known);
}

void see_reference(const SplinePicture& reference, const Matrix3& h, const Path& path, bool soft_frame, Raster& out,
                   const Runner& runner) {
  const auto pixel = [&](double x, double y) {
    const Local m = local(h, x, y);
    const double a = (h(0, 0) - m.x * h(2, 0)) * m.i, b = (h(0, 1) - m.x * h(2, 1)) * m.i;
    const double c = (h(1, 0) - m.y * h(2, 0)) * m.i, d = (h(1, 1) - m.y * h(2, 1)) * m.i, det = 1 / (a * d - b * c);
    return Footprint{float(x), float(y), float(d * det), float(-c * det), float(-b * det), float(a * det), 0, 0, 0, 0};
  };
  const auto whole = [&](double x, double y) {
    Footprint f = pixel(x, y);
    set_way(f, local(path.open, x, y), Local{x, y, 1}, local(path.close, x, y));
    return f;
  };
  const Extent e = extent(out.window(), whole);
  const std::vector<Tap> square = square_taps(e.u, e.v, soft_frame);
  const float far = soft_frame ? 1.5f : 0.5f;
  if (e.way < kStill) {
    average(reference.spline, square, out, runner, pixel, inside(reference.real, far));
    settle(out, pixel, inside(reference.real, far));
    return;
  }
  // In two steps, which is the same where the homography changes little along the way: the footprint into a picture of
  // its own, then the way over that.
  Raster wide(out.window().grown(static_cast<int>(std::ceil(e.way / 2)) + 3));
  average(reference.spline, square, wide, runner, pixel, inside(spline_reach(reference.spline.window()), far));
  to_spline(wide);
  const auto way = [&](double x, double y) {
    Footprint f{float(x), float(y), 0, 0, 0, 0, 0, 0, 0, 0};
    set_way(f, local(path.open, x, y), Local{x, y, 1}, local(path.close, x, y));
    return f;
  };
  average(wide, taps({Tap{0, 0, 0, 1}}, e.way), out, runner, way, inside(spline_reach(wide.window()), 0));
  settle(out, whole, inside(reference.real, far));
}

}  // namespace pw
