#include "warp/area.h"

#include <immintrin.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "warp/lanes.h"

namespace pw {
namespace {

constexpr int kWidest = 2048;  // Source pixels per row of a footprint; see kLongest in sampler.cpp.

// Kernel values for eight distances: each lane picks its piece's coefficients.
class Kernel8 {
 public:
  explicit Kernel8(Filter f) {
    const KernelPieces& k = pieces(f);
    for (int j = 0; j < k.pieces; ++j)
      for (int power = 0; power < 5; ++power) c_[power][j] = static_cast<float>(k.c[j][power]);
  }
  f8 operator()(f8 x) const {
    x = max(x, -x);
    x = min(x, splat8(7));
    const i8 j = __builtin_convertvector(x, i8);
    const f8 u = x - __builtin_convertvector(j, f8);
    f8 v = pick(4, j);
    for (int power = 3; power >= 0; --power) v = v * u + pick(power, j);
    return v;
  }

 private:
  f8 pick(int power, i8 j) const { return (f8)_mm256_permutevar8x32_ps((__m256)c_[power], (__m256i)j); }
  f8 c_[5] = {};
};

// 1 up to kShrinkStart, s from kShrinkWhole.
float raised(float s) {
  const float slope = (kShrinkWhole - 1) / (kShrinkWhole - kShrinkStart);
  return std::max({1.f, std::min(s, 1 + slope * (s - kShrinkStart))});
}

// The symmetric matrix with values s1, s2 along the eigenvectors of [xx xy; xy yy], whose eigenvalues are l1 > l2.
struct Symmetric {
  float xx, xy, yy;
};
Symmetric function_of(double xx, double xy, double yy, double l1, double l2, double s1, double s2) {
  const double beta = l1 - l2 > 1e-6 * l1 ? (s1 - s2) / (l1 - l2) : 0;
  const double alpha = s1 - beta * l1;
  return {static_cast<float>(alpha + beta * xx), static_cast<float>(beta * xy), static_cast<float>(alpha + beta * yy)};
}

constexpr f8 kLanes = {0, 1, 2, 3, 4, 5, 6, 7};
// Added to a pixel that is not among the nearest, when the lowest of those is looked for.
constexpr float kFar = 3e38f;

// Source pixels x0 ... x0 + count - 1 of one row with their weights.
struct Row {
  int x0 = 0, count = 0;
  alignas(32) float weight[kWidest + 8];
  alignas(32) float aside[kWidest + 8];  // kFar where the pixel lies outside the kernel's middle, else 0.
};

// Weighted sum of pixels, and the lowest and highest among the nearest ones.
template <int kChannels, bool kLimit>
class Sum {
 public:
  void add(const float* p, float weight, float aside) { add(load4<kChannels>(p), weight, aside); }
  void add_clear(float weight, float aside) { add(f4{}, weight, aside); }
  void finish(float total, float* out) const {
    f4 mean = sum_ / f4{total, total, total, total};
    if constexpr (kLimit) mean = min(max(mean, low_), high_);
    store4<kChannels>(out, mean);
  }

 private:
  void add(f4 v, float weight, float aside) {
    sum_ += weight * v;
    if constexpr (kLimit) low_ = min(low_, v + aside), high_ = max(high_, v - aside);
  }
  f4 sum_{}, low_ = f4{kFar, kFar, kFar, kFar}, high_ = -f4{kFar, kFar, kFar, kFar};
};

template <class S>
void add_row(const Level& source, int y, const Row& row, S& sum) {
  const Rect w = source.picture.window();
  const int channels = source.picture.channels();
  const bool seen = y >= w.y0 && y < w.y1;
  const int begin = seen ? std::clamp(w.x0 - row.x0, 0, row.count) : row.count;
  const int end = seen ? std::clamp(w.x1 - row.x0, begin, row.count) : row.count;
  const auto beyond = [&](int from, int to) {
    for (int i = from; i < to; ++i)
      if (const float* p = source.find(row.x0 + i, y))
        sum.add(p, row.weight[i], row.aside[i]);
      else
        sum.add_clear(row.weight[i], row.aside[i]);
  };
  beyond(0, begin);
  if (begin < end) {
    const float* p = source.picture.at(row.x0 + begin, y);
    for (int i = begin; i < end; ++i, p += channels) sum.add(p, row.weight[i], row.aside[i]);
  }
  beyond(end, row.count);
}

template <int kChannels, bool kLimit>
void sample(const Level& source, Filter filter, double x, double y, const Footprint& f, float* out) {
  const Kernel8 kernel(filter);
  const float radius = taps(filter) / 2.f;
  const double reach_y = radius * (std::abs(f.xy) + f.yy);
  const int y0 = static_cast<int>(std::ceil(y - 0.5 - reach_y)), y1 = static_cast<int>(std::floor(y - 0.5 + reach_y));
  f8 total{};
  Sum<kChannels, kLimit> sum;
  Row row;
  for (int py = y0; py <= y1; ++py) {
    const float dy = static_cast<float>(py + 0.5 - y);
    // Where both |inv_xx dx + inv_xy dy| and |inv_xy dx + inv_yy dy| are less than the radius.
    float from = (-radius - f.inv_xy * dy) / f.inv_xx, to = (radius - f.inv_xy * dy) / f.inv_xx;
    if (f.inv_xy != 0) {
      const float a = (-radius - f.inv_yy * dy) / f.inv_xy, b = (radius - f.inv_yy * dy) / f.inv_xy;
      from = std::max(from, std::min(a, b)), to = std::min(to, std::max(a, b));
    }
    if (!(from <= to)) continue;
    row.x0 = static_cast<int>(std::ceil(x - 0.5 + from));
    row.count = std::min(static_cast<int>(std::floor(x - 0.5 + to)) - row.x0 + 1, kWidest);
    const float first = static_cast<float>(row.x0 + 0.5 - x);
    for (int i = 0; i < row.count; i += 8) {
      const f8 lane = kLanes + static_cast<float>(i), dx = lane + first;
      const f8 along = f.inv_xx * dx + f.inv_xy * dy, across = f.inv_xy * dx + f.inv_yy * dy;
      const f8 w = lane < static_cast<float>(row.count) ? kernel(along) * kernel(across) : f8{};
      total += w;
      store8(row.weight + i, w);
      const f8 away = max(max(along, -along), max(across, -across));
      store8(row.aside + i, away < 1.f ? f8{} : splat8(kFar));
    }
    add_row(source, py, row, sum);
  }
  float whole = 0;
  for (int i = 0; i < 8; ++i) whole += total[i];
  if (whole > 0)
    sum.finish(whole, out);
  else
    std::fill_n(out, kChannels, 0.f);
}

}  // namespace

Footprint footprint(float xx, float xy, float yx, float yy) {
  const double a = double(xx) * xx + double(xy) * xy, b = double(xx) * yx + double(xy) * yy,
               c = double(yx) * yx + double(yy) * yy;
  const double mean = (a + c) / 2, half = std::hypot((a - c) / 2, b);
  const double l1 = mean + half, l2 = std::max(0.0, mean - half);
  Footprint f;
  f.longest = raised(static_cast<float>(std::sqrt(l1)));
  f.shortest = raised(static_cast<float>(std::sqrt(l2)));
  const Symmetric s = function_of(a, b, c, l1, l2, f.longest, f.shortest);
  const Symmetric i = function_of(a, b, c, l1, l2, 1.0 / f.longest, 1.0 / f.shortest);
  f.xx = s.xx, f.xy = s.xy, f.yy = s.yy;
  f.inv_xx = i.xx, f.inv_xy = i.xy, f.inv_yy = i.yy;
  return f;
}

Footprint halved(const Footprint& f, int times) {
  // Sides that become shorter than a cell are a cell long.
  const float scale = 1 / static_cast<float>(1 << times);
  const float longest = std::max(1.f, f.longest * scale), shortest = std::max(1.f, f.shortest * scale);
  const double l1 = f.longest, l2 = f.shortest;
  Footprint g;
  g.longest = longest, g.shortest = shortest;
  const Symmetric s = function_of(f.xx, f.xy, f.yy, l1, l2, longest, shortest);
  const Symmetric i = function_of(f.xx, f.xy, f.yy, l1, l2, 1.0 / longest, 1.0 / shortest);
  g.xx = s.xx, g.xy = s.xy, g.yy = s.yy;
  g.inv_xx = i.xx, g.inv_xy = i.xy, g.inv_yy = i.yy;
  return g;
}

void sample_area(const Level& source, Filter filter, bool limit, double x, double y, const Footprint& f, float* out) {
  limit = limit && (filter == Filter::cubic || filter == Filter::sharp);
  const auto choose = [&](auto channels) {
    constexpr int n = decltype(channels)::value;
    limit ? sample<n, true>(source, filter, x, y, f, out) : sample<n, false>(source, filter, x, y, f, out);
  };
  switch (source.picture.channels()) {
    case 1:
      return choose(std::integral_constant<int, 1>());
    case 2:
      return choose(std::integral_constant<int, 2>());
    case 3:
      return choose(std::integral_constant<int, 3>());
    default:
      return choose(std::integral_constant<int, 4>());
  }
}

}  // namespace pw
