#include "track/lack.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>

namespace pw {
namespace {

constexpr float kOnePass = 0.5f;   // Of a moment along x or y in one convolution with three by three.
constexpr float kNothing = 0.01f;  // Less is not worth one.
constexpr double kMost = 1.2;      // Of a moment's trace: more than that has a shape of its own.
// Both are blurred by this moment along each direction, in the reference's pixels: of waves too fine for a level,
// halving leaves traces that are in another place in each.
constexpr double kBoth = 0.25;
constexpr double kApart = 2.2;    // Samples along a way, pixels at most.
constexpr double kLongest = 400;  // A longer way shows nothing any more.
constexpr float kStays = 0.002f;  // A shift of less is none, pixels.
constexpr int kBand = 16;

// Second moment along each direction of what a pixel is a mean of, in pixels of its level: its square, and what halving
// (raster.h) adds each time, 3/4.
double pixel_moment(const SplinePicture& p, int level) {
  double moment = 1 / 12.0;
  for (int l = 0; l < level; ++l) moment = (moment + 0.75) / 4;
  return moment + (p.soft ? 1 / 3.0 : 0);
}

// The parabola of a path at x, and the second moments about its mean, which lies at q / 3.
struct Smear {
  Eigen::Vector2d p, q;
  Eigen::Matrix2d moment() const { return p * p.transpose() / 3 + q * q.transpose() * (4 / 45.0); }
};
Smear smear(const Path& path, const Point& x) {
  const Point open = map(path.open, x), close = map(path.close, x);
  return {0.5 * (close - open), 0.5 * (open + close) - x};
}

// The part of a way's moments that lies between two samples along it.
Eigen::Matrix2d between_samples(const Smear& s) {
  const double way = 2 * s.p.norm();
  return s.p * s.p.transpose() / 3 * std::min(1.0, kApart * kApart / std::max(1e-9, way * way));
}

Eigen::Matrix2d positive(const Eigen::Matrix2d& m) {
  const double middle = 0.5 * (m(0, 0) + m(1, 1)), d = 0.5 * (m(0, 0) - m(1, 1)), b = m(0, 1), r = std::hypot(d, b);
  const double large = std::max(0.0, middle + r), small = std::max(0.0, middle - r);
  if (!(r > 0)) return large * Eigen::Matrix2d::Identity();
  const Eigen::Matrix2d turned = (Eigen::Matrix2d() << d, b, b, -d).finished();
  return 0.5 * (large + small) * Eigen::Matrix2d::Identity() + (large - small) / (2 * r) * turned;
}

// What two pictures are blurred by: their pixels' moments, their paths, and how the one is seen from the other.
struct Blurs {
  double reference, frame;
  const Path &home, &own;
  Matrix3 h;
  bool ways;  // Each gets the other's whole way; else the difference of both.
};

// What both lack at x of the reference, and `both` more, in the reference's pixels and in the frame's.
struct Missing {
  Eigen::Matrix2d reference, frame;
  double much() const {
    const double m = std::max(reference.trace(), frame.trace());
    return std::isfinite(m) ? m : 1e9;
  }
};
Missing missing(const Blurs& b, const Point& x, double both = 0) {
  const Eigen::Matrix2d a = jacobian(b.h, x), back = a.inverse(), one = Eigen::Matrix2d::Identity();
  const Smear home = smear(b.home, x), own = smear(b.own, x);
  Eigen::Matrix2d d = b.frame * back * back.transpose() - b.reference * one;
  if (!b.ways) d += own.moment() - home.moment();
  Missing m{positive(d) + both * one, positive(-d) + both * one};
  if (b.ways) m.reference += between_samples(own), m.frame += between_samples(home);
  m.frame = a * m.frame * a.transpose();
  return m;
}

f4 as_float(const Eigen::Matrix2d& m) { return f4{float(m(0, 0)), float(m(0, 1)), float(m(1, 1)), 0}; }

f4 finite(double a, double b, double c, double d) {
  return std::isfinite(a + b + c + d) ? f4{float(a), float(b), float(c), float(d)} : splat(0);
}

// The way of one picture for the other to have.
void set_way(const Path& path, const Rect& window, Lack& lack) {
  lack.way = lack.shift = Field(window);
  lack.way.fill([&](const Point& x) {
    const Smear s = smear(path, x);
    return finite(s.p.x(), s.p.y(), s.q.x(), s.q.y());
  });
  lack.shift.fill([&](const Point& x) {
    const Smear s = smear(path, x);
    return finite(s.q.x() / 3, s.q.y() / 3, std::min(kLongest, 2 * s.p.norm()), 0);
  });
  lack.sampled = std::any_of(lack.shift.nodes().begin(), lack.shift.nodes().end(), [](const f4& n) {
    return std::abs(n[0]) > kStays || std::abs(n[1]) > kStays || n[2] > float(kApart);
  });
}

}  // namespace

std::optional<Lacking> lacking(int level, const std::vector<SplinePicture>& frame, const Matrix3& h, const Path& home,
                               const Path& own, const Rect& window) {
  std::optional<Blurs> best;
  Lacking lack;
  double least = kMost;
  for (const bool ways : {false, true}) {
    for (int k = 0; k < int(frame.size()); ++k) {
      if (frame[k].spline.empty()) continue;
      const double scale = std::ldexp(1.0, level - k);
      const Blurs b{pixel_moment(SplinePicture(), level),
                    pixel_moment(frame[k], k),
                    home,
                    own,
                    normalised(scaling(scale, scale) * h),
                    ways};
      double much = 0;
      for (double x : {window.x0 + 0.5, 0.5 * (window.x0 + window.x1), window.x1 - 0.5})
        for (double y : {window.y0 + 0.5, 0.5 * (window.y0 + window.y1), window.y1 - 0.5})
          much = std::max(much, missing(b, {x, y}).much());
      if (!(much < least)) continue;
      least = much, lack.frame_level = k, lack.frame_scale = scale;
      best.emplace(b);
    }
    if (best) break;
  }
  if (!best) return std::nullopt;
  const auto small = [](const Eigen::Matrix2d& m) {
    return m.allFinite() && m.trace() < 4 * kMost ? as_float(m) : splat(0);
  };
  lack.reference.blur = Field(window), lack.frame.blur = Field(frame[lack.frame_level].spline.window());
  lack.reference.blur.fill([&](const Point& x) { return small(missing(*best, x, kBoth).reference); });
  const Matrix3 back = inverted(best->h);
  const Rect near = window.grown(64);
  lack.frame.blur.fill([&](const Point& y) {
    const Point x = map(back, y);
    const bool known = x.x() >= near.x0 && x.x() < near.x1 && x.y() >= near.y0 && x.y() < near.y1;
    return known ? small(missing(*best, x, kBoth).frame) : splat(0);
  });
  if (best->ways) {
    set_way(own, window, lack.reference), set_way(home, window, lack.frame);
  } else {
    lack.reference.sampled = false;
    lack.frame.way = lack.frame.shift = Field(window);
    lack.frame.shift.fill([&](const Point& x) {
      const Eigen::Vector2d d = (smear(home, x).q - smear(own, x).q) / 3;
      return finite(d.x(), d.y(), 0, 0);
    });
  }
  return lack;
}

Raster blurred(const Raster& in, const Field& field, const Rect& window, bool flagged, const Runner& runner) {
  float most = 0;
  for (const f4& m : field.nodes()) most = std::max({most, m[0], m[2]});
  if (most < kNothing && in.window() == window) return in;
  const int passes = std::max(1, int(std::ceil(most / kOnePass)));
  const f4 share = splat(1.f / float(passes));
  Raster from = in;
  for (int pass = passes; pass > 0; --pass) {
    Raster out(intersect(window.grown(pass - 1), from.window()));
    const Rect w = out.window(), source = from.window(), known = field.window();
    runner.run(size_t(w.height() + kBand - 1) / kBand, [&](size_t b) {
      std::vector<f4> moments;
      const int y0 = w.y0 + int(b) * kBand, y1 = std::min(w.y1, y0 + kBand);
      for (int y = y0; y < y1; ++y) {
        field.row(std::clamp(y, known.y0, known.y1 - 1), moments);
        // Rows of the source from its first pixel on.
        const f4 *middle = from.row(y), *above = from.row(std::max(source.y0, y - 1)),
                 *below = from.row(std::min(source.y1 - 1, y + 1));
        f4* o = out.row(y);
        const auto pixel = [&](int x, int left, int right, const f4& moment) {
          const f4 m = moment * share;
          // (1 + xx d2/dx2 / 2)(1 + yy d2/dy2 / 2) + xy d2/dxdy.
          const f4 ax = splat(0.5f * m[0]), ay = splat(0.5f * m[2]), cross = splat(0.25f * m[1]);
          const auto across = [&](const f4* row) { return row[x] + ax * (row[left] + row[right] - 2 * row[x]); };
          const f4 here = across(middle);
          const f4 v = here + ay * (across(above) + across(below) - 2 * here) +
                       cross * ((below[right] - below[left]) - (above[right] - above[left]));
          o[x + source.x0 - w.x0] = !flagged || v[3] > 0.999f ? v : splat(0);
        };
        const auto moment_at = [&](int x) -> const f4& {
          return moments[std::clamp(x, known.x0, known.x1 - 1) - known.x0];
        };
        const int first = w.x0 - source.x0, last = w.x1 - source.x0, end = source.width() - 1;
        const int begin = std::max({first, 1, known.x0 - source.x0}),
                  stop = std::min({last, end, known.x1 - source.x0});
        const auto at_edges = [&](int from_x, int to_x) {
          for (int x = from_x; x < to_x; ++x)
            pixel(x, std::max(0, x - 1), std::min(end, x + 1), moment_at(source.x0 + x));
        };
        at_edges(first, std::min(begin, last));
        const f4* m = moments.data() + (source.x0 - known.x0);
        for (int x = begin; x < stop; ++x) pixel(x, x - 1, x + 1, m[x]);
        at_edges(std::max({first, begin, stop}), last);
      }
    });
    from = out;
  }
  return from;
}

namespace {

// `place` takes a point of the reference to the spline's pixels, to NaN where it has none there.
template <class Place>
void see_along(const Raster& spline, const Reach& reach, const Lack& lack, const Place& place, Raster& out,
               const Runner& runner) {
  const Rect w = out.window();
  runner.run(size_t(w.height() + kBand - 1) / kBand, [&](size_t b) {
    std::vector<f4> ways, shifts;
    const int y0 = w.y0 + int(b) * kBand, y1 = std::min(w.y1, y0 + kBand);
    for (int y = y0; y < y1; ++y) {
      lack.way.row(y, ways), lack.shift.row(y, shifts);
      const f4 *way = ways.data() + (w.x0 - lack.way.window().x0), *shift = shifts.data() + (way - ways.data());
      f4* o = out.row(y);
      for (int x0 = 0; x0 < w.width(); x0 += Field::kStep) {
        const int x1 = std::min(w.width(), x0 + Field::kStep);
        // So many samples that the blur fills what lies between them; their spread makes up the rest of the moments.
        const float longest = std::max(shift[x0][2], shift[x1 - 1][2]), apart = float(kApart);
        const int n = std::max(1, int(std::ceil(longest / apart)));
        const float middle = 0.5f * float(n - 1), square = n > 1 ? float(n * n - 1) / 12 : 0, share = 1.f / float(n);
        for (int i = x0; i < x1; ++i) {
          const float own = shift[i][2], x = float(w.x0 + i) + 0.5f + shift[i][0], at_y = float(y) + 0.5f + shift[i][1];
          const float tt = n > 1 && own > apart ? (1 - apart * apart / (own * own)) / 3 : 0;  // Mean of t^2.
          const float step = n > 1 ? std::sqrt(tt / square) : 0;
          f4 sum = splat(0);
          bool inside = true;
          for (int k = 0; k < n && inside; ++k) {
            const float t = step * (float(k) - middle), q = t * t - tt;
            const auto [u, v] = place(x + way[i][0] * t + way[i][2] * q, at_y + way[i][1] * t + way[i][3] * q);
            inside = reach.contains(u, v);
            if (inside) sum += spline_at(spline, u, v);
          }
          o[i] = inside ? sum * splat(share) : splat(0);
          o[i][3] = inside ? 1 : 0;
        }
      }
    }
  });
}

}  // namespace

void see_along(const Raster& spline, const Reach& real, const Matrix3& h, const Lack& lack, Raster& out,
               const Runner& runner) {
  const Reach whole = spline_reach(spline.window());
  const Reach reach{std::max(whole.x0, real.x0), std::max(whole.y0, real.y0), std::min(whole.x1, real.x1),
                    std::min(whole.y1, real.y1)};
  if (h == Matrix3::Identity())
    see_along(
        spline, reach, lack, [](float x, float y) { return std::pair(x, y); }, out, runner);
  else
    see_along(
        spline, reach, lack,
        [&h](float x, float y) {
          const double z = h(2, 0) * x + h(2, 1) * y + h(2, 2), one = z > 0 ? 1 / z : std::nan("");
          return std::pair(float((h(0, 0) * x + h(0, 1) * y + h(0, 2)) * one),
                           float((h(1, 0) * x + h(1, 1) * y + h(1, 2)) * one));
        },
        out, runner);
}

}  // namespace pw
