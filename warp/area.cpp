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

const Kernel8& kernel8(Filter f) {
  static const Kernel8 all[] = {Kernel8(Filter::linear), Kernel8(Filter::cubic), Kernel8(Filter::sharp),
                                Kernel8(Filter::smooth)};
  return all[static_cast<int>(f)];
}

// 1 up to kShrinkStart, s from kShrinkWhole.
float raised(float s) {
  const float slope = (kShrinkWhole - 1) / (kShrinkWhole - kShrinkStart);
  return std::max({1.f, std::min(s, 1 + slope * (s - kShrinkStart))});
}

// A footprint's slant (its off-diagonal by the mean of the others, -1 to 1) without what is too little to be seen, so
// that nearly upright ones are upright and take the fast way: 0 up to 0.1, as it is from 0.3.
double aslant(double t) {
  const double size = std::abs(t), kept = std::max(0.0, std::min(size, 1.5 * (size - 0.1)));
  return t < 0 ? -kept : kept;
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

// The kernel along one axis: taps first ... first + count - 1.
struct Taps {
  int first = 0, count = 0;
  int near = 0, far = 0;  // Those from near up to, not including, far lie in the kernel's middle.
  float total = 0;
  alignas(32) float weight[kWidest + 8];

  Taps(const Kernel8& kernel, double position, float radius, float inverse) {
    const double reach = radius / inverse;
    first = static_cast<int>(std::ceil(position - 0.5 - reach));
    count = std::min(static_cast<int>(std::floor(position - 0.5 + reach)) - first + 1, kWidest);
    const float start = static_cast<float>(first + 0.5 - position);
    f8 sum{};
    for (int i = 0; i < count; i += 8) {
      const f8 lane = kLanes + static_cast<float>(i), d = inverse * (lane + start);
      const f8 w = lane < static_cast<float>(count) ? kernel(d) : f8{};
      sum += w;
      store8(weight + i, w);
    }
    near = std::max(0, static_cast<int>(std::floor(-1 / inverse - start)) + 1);
    far = std::min(count, static_cast<int>(std::ceil(1 / inverse - start)));
    for (int i = 0; i < 8; ++i) total += sum[i];
  }
};

// An upright footprint: the weights are products of those along x and along y.
template <int kChannels, bool kLimit>
void sample_upright(const Level& source, Filter filter, double x, double y, const Footprint& f, float* out) {
  const Kernel8& kernel = kernel8(filter);
  const float radius = taps(filter) / 2.f;
  const Taps tx(kernel, x, radius, f.inv_xx), ty(kernel, y, radius, f.inv_yy);
  const Rect w = source.picture.window();
  const bool inside = tx.first >= w.x0 && tx.first + tx.count <= w.x1;
  f4 sum{}, low = f4{kFar, kFar, kFar, kFar}, high = -low;
  alignas(32) float gathered[kWidest * kChannels];
  for (int j = 0; j < ty.count; ++j) {
    const int py = ty.first + j;
    const float* row = gathered;
    if (inside && py >= w.y0 && py < w.y1) {
      row = source.picture.at(tx.first, py);
    } else {
      for (int i = 0; i < tx.count; ++i)
        if (const float* p = source.find(tx.first + i, py))
          std::copy_n(p, kChannels, gathered + i * kChannels);
        else
          std::fill_n(gathered + i * kChannels, kChannels, 0.f);
    }
    f4 even{}, odd{};
    int i = 0;
    for (; i + 1 < tx.count; i += 2) {
      even += tx.weight[i] * load4<kChannels>(row + i * kChannels);
      odd += tx.weight[i + 1] * load4<kChannels>(row + (i + 1) * kChannels);
    }
    if (i < tx.count) even += tx.weight[i] * load4<kChannels>(row + i * kChannels);
    sum += ty.weight[j] * (even + odd);
    if (kLimit && j >= ty.near && j < ty.far)
      for (int k = tx.near; k < tx.far; ++k) {
        const f4 v = load4<kChannels>(row + k * kChannels);
        low = min(low, v), high = max(high, v);
      }
  }
  const float total = tx.total * ty.total;
  sum /= f4{total, total, total, total};
  if constexpr (kLimit) sum = min(max(sum, low), high);
  store4<kChannels>(out, sum);
}

template <int kChannels, bool kLimit>
void sample_aslant(const Level& source, Filter filter, double x, double y, const Footprint& f, float* out) {
  const Kernel8& kernel = kernel8(filter);
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
    const float a = (-radius - f.inv_yy * dy) / f.inv_xy, b = (radius - f.inv_yy * dy) / f.inv_xy;
    from = std::max(from, std::min(a, b)), to = std::min(to, std::max(a, b));
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

Footprint footprint(float xx, float xy, float yx, float yy, int times) {
  const double a = double(xx) * xx + double(xy) * xy, b = double(xx) * yx + double(xy) * yy,
               c = double(yx) * yx + double(yy) * yy;
  const double mean = (a + c) / 2, half = std::hypot((a - c) / 2, b);
  const double l1 = mean + half, l2 = std::max(0.0, mean - half);
  const float cell = 1 / static_cast<float>(1 << times);
  Footprint f;
  f.longest = std::max(1.f, raised(static_cast<float>(std::sqrt(l1))) * cell);
  f.shortest = std::max(1.f, raised(static_cast<float>(std::sqrt(l2))) * cell);
  // The function of A with values 1 / longest, 1 / shortest: alpha + beta A.
  const double s1 = 1.0 / f.longest, s2 = 1.0 / f.shortest;
  const double beta = l1 - l2 > 1e-6 * l1 ? (s1 - s2) / (l1 - l2) : 0, alpha = s1 - beta * l1;
  const double ixx = alpha + beta * a, iyy = alpha + beta * c, scale = std::sqrt(ixx * iyy);
  const double ixy = aslant(beta * b / scale) * scale, det = ixx * iyy - ixy * ixy;
  f.inv_xx = static_cast<float>(ixx), f.inv_xy = static_cast<float>(ixy), f.inv_yy = static_cast<float>(iyy);
  f.xx = static_cast<float>(iyy / det), f.xy = static_cast<float>(-ixy / det), f.yy = static_cast<float>(ixx / det);
  return f;
}

void sample_area(const Level& source, Filter filter, bool limit, double x, double y, const Footprint& f, float* out) {
  limit = limit && (filter == Filter::cubic || filter == Filter::sharp);
  const auto choose = [&](auto channels) {
    constexpr int n = decltype(channels)::value;
    const auto way = f.inv_xy == 0 ? (limit ? sample_upright<n, true> : sample_upright<n, false>)
                                   : (limit ? sample_aslant<n, true> : sample_aslant<n, false>);
    way(source, filter, x, y, f, out);
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
