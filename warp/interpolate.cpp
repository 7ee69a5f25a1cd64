#include "warp/interpolate.h"

#include <algorithm>
#include <cmath>

#include "warp/lanes.h"
#include "warp/limit.h"

namespace pw {
namespace {

// The kernel's values for its taps, a lane each, as polynomials in t; exactly 0 and 1 at t = 0 when the filter
// interpolates.
template <Filter kFilter, int kTaps, int kDegree>
struct Weights {
  using V = std::conditional_t<(kTaps > 4), f8, f4>;
  V c[kDegree + 1] = {};

  Weights() {
    const KernelPieces& k = pieces(kFilter);
    for (int i = 0; i < kTaps; ++i) {
      const bool near = i < kTaps / 2;  // Taps on the far side are 1 - t away, plus whole pixels: expand in t.
      const auto& from = k.c[near ? kTaps / 2 - 1 - i : i - kTaps / 2];
      for (int power = 0; power <= kDegree; ++power) {
        double sum = near ? from[power] : 0, binomial = 1;
        for (int j = power; !near && j <= kDegree; ++j) {
          sum += from[j] * binomial * (power % 2 ? -1 : 1);
          binomial = binomial * (j + 1) / (j + 1 - power);
        }
        c[power][i] = static_cast<float>(std::abs(sum) < 1e-12 ? 0 : sum);
      }
    }
  }
  V at(float t) const {
    V w = c[kDegree];
    for (int power = kDegree - 1; power >= 0; --power) w = w * t + c[power];
    return w;
  }
};

// A row of taps is taken as a flat run of floats, whatever the channels, and lies in kVectors registers.
template <int kTaps, int kChannels>
constexpr int kVectors = (kTaps * kChannels + 7) / 8;
// Pixels read beyond the last tap by that.
template <int kTaps, int kChannels>
constexpr int kOverread = (kVectors<kTaps, kChannels> * 8 - kTaps * kChannels + kChannels - 1) / kChannels;

// First along y for all columns, then along x. `p` is the top left tap.
template <int kTaps, int kChannels, bool kLimit, class W>
inline void one(const W& weights, const float* p, int64_t stride, float tx, float ty, float* out) {
  constexpr int n = kVectors<kTaps, kChannels>, m = kTaps / 2;
  const auto wy = weights.at(ty), wx = weights.at(tx);
  alignas(32) float column[n * 8];
  for (int k = 0; k < n; ++k) {
    f8 s[kTaps];
    for (int j = 0; j < kTaps; ++j) s[j] = load8(p + j * stride + 8 * k);
    f8 sum = s[0] * wy[0];
    for (int j = 1; j < kTaps; ++j) sum += s[j] * wy[j];
    if constexpr (kLimit) sum = limited(sum, s[m - 2], s[m - 1], s[m], s[m + 1]);
    store8(column + 8 * k, sum);
  }
  if constexpr (kChannels == 1) {
    float sum = column[0] * wx[0];
    for (int i = 1; i < kTaps; ++i) sum += column[i] * wx[i];
    if constexpr (kLimit) sum = limited(sum, column[m - 2], column[m - 1], column[m], column[m + 1]);
    *out = sum;
  } else {
    f4 s[kTaps];
    for (int i = 0; i < kTaps; ++i) s[i] = load4<kChannels>(column + i * kChannels);
    f4 sum = s[0] * wx[0];
    for (int i = 1; i < kTaps; ++i) sum += s[i] * wx[i];
    if constexpr (kLimit) sum = limited(sum, s[m - 2], s[m - 1], s[m], s[m + 1]);
    store4<kChannels>(out, sum);
  }
}

// Taps that partly lie beyond the picture, brought together. False: all of them are clear.
template <int kTaps, int kChannels>
bool gather(const Level& source, int x, int y, float* to, int stride) {
  const Rect w = source.picture.window();
  if (source.ends.empty()) return false;
  int column[kTaps];
  for (int i = 0; i < kTaps; ++i) column[i] = source.column(x + i);
  bool any = false;
  for (int j = 0; j < kTaps; ++j) {
    const int row = source.row(y + j);
    if (row < w.y0 || row >= w.y1) continue;
    const float* p = source.picture.row(row);
    for (int i = 0; i < kTaps; ++i)
      if (column[i] >= w.x0 && column[i] < w.x1) {
        std::copy_n(p + int64_t{column[i] - w.x0} * kChannels, kChannels, to + j * stride + i * kChannels);
        any = true;
      }
  }
  return any;
}

template <Filter kFilter, int kTaps, int kDegree, int kChannels, bool kLimit>
void run(const Level& source, int count, const int* x, const int* y, const float* tx, const float* ty, float* out) {
  const Weights<kFilter, kTaps, kDegree> weights;
  const Rect w = source.picture.window();
  if (w.empty()) {
    std::fill_n(out, int64_t{count} * kChannels, 0.f);
    return;
  }
  // First taps for which everything that is read lies in the picture.
  const Rect inside{w.x0, w.y0, w.x1 - kTaps - kOverread<kTaps, kChannels> + 1, w.y1 - kTaps + 1};
  const float* origin = source.picture.row(w.y0);
  const int64_t stride = w.height() > 1 ? source.picture.row(w.y0 + 1) - origin : 0;
  for (int i = 0; i < count; ++i, out += kChannels) {
    const int left = x[i] - (kTaps / 2 - 1), top = y[i] - (kTaps / 2 - 1);
    if (inside.contains(left, top)) {
      const float* p = origin + (top - w.y0) * stride + int64_t{left - w.x0} * kChannels;
      one<kTaps, kChannels, kLimit>(weights, p, stride, tx[i], ty[i], out);
    } else {
      constexpr int narrow = kVectors<kTaps, kChannels> * 8;
      alignas(32) float taps[kTaps * narrow] = {};
      if (gather<kTaps, kChannels>(source, left, top, taps, narrow))
        one<kTaps, kChannels, kLimit>(weights, taps, narrow, tx[i], ty[i], out);
      else
        std::fill_n(out, kChannels, 0.f);
    }
  }
}

template <int kChannels>
InterpolateRun choose(Filter filter, bool limit) {
  switch (filter) {
    case Filter::linear:
      return run<Filter::linear, 2, 1, kChannels, false>;
    case Filter::cubic:
      return limit ? run<Filter::cubic, 4, 3, kChannels, true> : run<Filter::cubic, 4, 3, kChannels, false>;
    case Filter::sharp:
      return limit ? run<Filter::sharp, 6, 4, kChannels, true> : run<Filter::sharp, 6, 4, kChannels, false>;
    case Filter::smooth:
      return run<Filter::smooth, 4, 3, kChannels, false>;
  }
  return nullptr;
}

}  // namespace

InterpolateRun interpolator(Filter filter, int channels, bool limit) {
  switch (channels) {
    case 1:
      return choose<1>(filter, limit);
    case 2:
      return choose<2>(filter, limit);
    case 3:
      return choose<3>(filter, limit);
    default:
      return choose<4>(filter, limit);
  }
}

}  // namespace pw
