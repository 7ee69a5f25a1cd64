#include "comp/colour/space_transform.h"

#include <algorithm>
#include <cmath>

namespace pw {
namespace {

constexpr size_t kBlock = 256;
constexpr float kMost = 65504;  // The largest half float.

}  // namespace

int64_t transform(const SpaceTransform& t, float* pixels, size_t count, int channels) {
  int64_t odd = 0;
  float rgba[4 * kBlock];
  while (count > 0) {
    const size_t n = std::min(kBlock, count);
    for (size_t i = 0; i < n; ++i) {
      std::copy_n(pixels + i * channels, 3, rgba + 4 * i);
      rgba[4 * i + 3] = 1;
    }
    t.apply(rgba, n);
    for (size_t i = 0; i < n; ++i)
      for (int c = 0; c < 3; ++c) {
        float v = rgba[4 * i + c];
        if (!std::isfinite(v)) v = std::isnan(v) ? 0 : std::copysign(kMost, v), ++odd;
        pixels[i * channels + c] = v;
      }
    pixels += n * channels, count -= n;
  }
  return odd;
}

int64_t transform_premultiplied(const SpaceTransform& t, float* pixels, size_t count, int channels) {
  if (channels != 4) return transform(t, pixels, count, channels);
  float *const first = pixels, *const end = pixels + 4 * count;
  for (float* p = first; p != end; p += 4)
    if (p[3] > 0)
      for (int c = 0; c < 3; ++c) p[c] /= p[3];
  const int64_t odd = transform(t, first, count, channels);
  for (float* p = first; p != end; p += 4)
    for (int c = 0; c < 3; ++c) p[c] *= p[3];
  return odd;
}

}  // namespace pw
