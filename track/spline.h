// Interpolation by cubic B-splines: M. Unser, A. Aldroubi, M. Eden, "B-spline signal processing", IEEE Transactions on
// Signal Processing 41, 1993. Of all kernels four pixels wide it has the least error on smooth pictures (P. Thevenaz,
// T. Blu, M. Unser, "Interpolation revisited", IEEE Transactions on Medical Imaging 19, 2000).
#pragma once
#include "track/raster.h"

namespace pw {

// Replaces pixels by spline coefficients, mirrored at the edges; the spline through them passes through every pixel.
void to_spline(Raster& r);

using f8 = float __attribute__((vector_size(32)));

// The weights of the four samples around: lanes 0 to 3 at fraction u past a sample, lanes 4 to 7 at fraction v; cubics
// by Horner's rule.
inline f8 spline_weights(float u, float v) {
  const f8 t{u, u, u, u, v, v, v, v};
  constexpr float s = 1 / 6.f;
  const f8 c0{s, 4 * s, s, 0, s, 4 * s, s, 0}, c1{-3 * s, 0, 3 * s, 0, -3 * s, 0, 3 * s, 0};
  const f8 c2{3 * s, -6 * s, 3 * s, 0, 3 * s, -6 * s, 3 * s, 0}, c3{-s, 3 * s, -3 * s, s, -s, 3 * s, -3 * s, s};
  return ((c3 * t + c2) * t + c1) * t + c0;
}

// The spline at position (x, y), counted from the outer corner of the plate's first pixel. Needs two pixels on every
// side: see spline_reach. Two neighbouring pixels fill one register of eight floats.
inline f4 spline_at(const Raster& coefficients, float x, float y) {
  using Load = float __attribute__((vector_size(32), aligned(4), may_alias));
  const float u = x - 0.5f, v = y - 0.5f;
  const int iu = static_cast<int>(u) - (u < 0), iv = static_cast<int>(v) - (v < 0);
  const f8 w = spline_weights(u - static_cast<float>(iu), v - static_cast<float>(iv));
  const f8 left = __builtin_shufflevector(w, w, 0, 0, 0, 0, 1, 1, 1, 1);
  const f8 right = __builtin_shufflevector(w, w, 2, 2, 2, 2, 3, 3, 3, 3);
  const int64_t stride = int64_t{4} * coefficients.window().width();
  const float* p = reinterpret_cast<const float*>(&coefficients.at(iu - 1, iv - 1));
  const auto row = [&](const float* q) {
    return left * *reinterpret_cast<const Load*>(q) + right * *reinterpret_cast<const Load*>(q + 8);
  };
  const f8 top = __builtin_shufflevector(w, w, 4, 4, 4, 4, 4, 4, 4, 4) * row(p) +
                 __builtin_shufflevector(w, w, 5, 5, 5, 5, 5, 5, 5, 5) * row(p + stride);
  const f8 bottom = __builtin_shufflevector(w, w, 6, 6, 6, 6, 6, 6, 6, 6) * row(p + 2 * stride) +
                    __builtin_shufflevector(w, w, 7, 7, 7, 7, 7, 7, 7, 7) * row(p + 3 * stride);
  const f8 sum = top + bottom;
  return __builtin_shufflevector(sum, sum, 0, 1, 2, 3) + __builtin_shufflevector(sum, sum, 4, 5, 6, 7);
}

// Positions where spline_at may be asked: x0 <= x < x1 and the same in y.
struct Reach {
  float x0, y0, x1, y1;
  bool contains(float x, float y) const { return x >= x0 && x < x1 && y >= y0 && y < y1; }
};
inline Reach spline_reach(const Rect& w) { return {w.x0 + 1.5f, w.y0 + 1.5f, w.x1 - 1.5f, w.y1 - 1.5f}; }

}  // namespace pw
