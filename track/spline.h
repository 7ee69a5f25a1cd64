// Interpolation by cubic B-splines: M. Unser, A. Aldroubi, M. Eden, "B-spline signal processing", IEEE Transactions on
// Signal Processing 41, 1993. Of all kernels four pixels wide it has the least error on smooth pictures (P. Thevenaz,
// T. Blu, M. Unser, "Interpolation revisited", IEEE Transactions on Medical Imaging 19, 2000).
#pragma once
#include <immintrin.h>

#include "track/raster.h"

namespace pw {

// Replaces pixels by spline coefficients, mirrored at the edges; the spline through them passes through every pixel.
void to_spline(Raster& r);

// The weights of the four samples around: lanes 0 to 3 at fraction u past a sample, lanes 4 to 7 at fraction v; cubics
// by Horner's rule.
inline f8 spline_weights(float u, float v) {
  const f8 t{u, u, u, u, v, v, v, v};
  constexpr float s = 1 / 6.f;
  const f8 c0{s, 4 * s, s, 0, s, 4 * s, s, 0}, c1{-3 * s, 0, 3 * s, 0, -3 * s, 0, 3 * s, 0};
  const f8 c2{3 * s, -6 * s, 3 * s, 0, 3 * s, -6 * s, 3 * s, 0}, c3{-s, 3 * s, -3 * s, s, -s, 3 * s, -3 * s, s};
  return ((c3 * t + c2) * t + c1) * t + c0;
}

// Products are added in one rounding: the instruction is part of the stated target.
inline f8 plus_product(f8 sum, f8 a, f8 b) { return _mm256_fmadd_ps(a, b, sum); }
inline f4 plus_product(f4 sum, f4 a, f4 b) { return _mm_fmadd_ps(a, b, sum); }

// Two neighbouring pixels fill one register of eight floats.
inline f8 two_pixels(const f4* p) {
  using Load = float __attribute__((vector_size(32), aligned(4), may_alias));
  return *reinterpret_cast<const Load*>(p);
}

template <int kLane>
f8 of_lane(f8 v) {
  return __builtin_shufflevector(v, v, kLane, kLane, kLane, kLane, kLane, kLane, kLane, kLane);
}
inline f4 low(f8 v) { return __builtin_shufflevector(v, v, 0, 1, 2, 3); }

// The mean of four columns of kRows pixels from p on: down the columns first, then along what is left, by the first
// four lanes of `across`.
template <int kRows>
f4 four_columns(const f4* p, int64_t stride, const f8 (&down)[kRows], f8 across) {
  const auto pair = [&](const f4* q) {
    f8 sum = down[0] * two_pixels(q);
    for (int r = 1; r < kRows; ++r) sum = plus_product(sum, down[r], two_pixels(q + r * stride));
    return sum;
  };
  const f8 left = __builtin_shufflevector(across, across, 0, 0, 0, 0, 1, 1, 1, 1);
  const f8 right = __builtin_shufflevector(across, across, 2, 2, 2, 2, 3, 3, 3, 3);
  const f8 sum = plus_product(left * pair(p), right, pair(p + 2));
  return low(sum) + __builtin_shufflevector(sum, sum, 4, 5, 6, 7);
}

// The spline at position (x, y), counted from the outer corner of the plate's first pixel. Needs two pixels on every
// side: see spline_reach.
inline f4 spline_at(const Raster& coefficients, float x, float y) {
  const float u = x - 0.5f, v = y - 0.5f;
  const int iu = static_cast<int>(u) - (u < 0), iv = static_cast<int>(v) - (v < 0);
  const f8 w = spline_weights(u - static_cast<float>(iu), v - static_cast<float>(iv));
  return four_columns(&coefficients.at(iu - 1, iv - 1), coefficients.window().width(),
                      {of_lane<4>(w), of_lane<5>(w), of_lane<6>(w), of_lane<7>(w)}, w);
}

// The mean of the spline over the unit square about (x, y): a spline of the fourth degree with the same coefficients,
// for the mean over a pixel is what each degree's kernel is of the one below.
inline f4 spline_mean_at(const Raster& coefficients, float x, float y) {
  const int iu = static_cast<int>(x) - (x < 0), iv = static_cast<int>(y) - (y < 0);
  const float u = x - static_cast<float>(iu) - 0.5f, v = y - static_cast<float>(iv) - 0.5f;
  // Lanes 0 to 3: the first four of the five samples around along x; 4 to 7 along y. The fifth mirrors the first.
  const f8 t{u, u, u, u, v, v, v, v};
  constexpr float s = 1 / 384.f;
  const f8 c0{s, 76 * s, 230 * s, 76 * s, s, 76 * s, 230 * s, 76 * s};
  const f8 c1{-8 * s, -176 * s, 0, 176 * s, -8 * s, -176 * s, 0, 176 * s};
  const f8 c2{24 * s, 96 * s, -240 * s, 96 * s, 24 * s, 96 * s, -240 * s, 96 * s};
  const f8 c3{-32 * s, 64 * s, 0, -64 * s, -32 * s, 64 * s, 0, -64 * s};
  const f8 c4{16 * s, -64 * s, 96 * s, -64 * s, 16 * s, -64 * s, 96 * s, -64 * s};
  const f8 w = plus_product(c0, plus_product(c1, plus_product(c2, plus_product(c3, c4, t), t), t), t);
  const f4 last{0.5f + u, 0.5f + v, 0, 0}, square = last * last, fifth = square * square * splat(1 / 24.f);
  const f4* p = &coefficients.at(iu - 2, iv - 2);
  const int64_t stride = coefficients.window().width();
  const f8 down[] = {of_lane<4>(w), of_lane<5>(w), of_lane<6>(w), of_lane<7>(w),
                     both(splat(fifth[1]), splat(fifth[1]))};
  const f4* q = p + 4;
  f4 end = low(down[0]) * q[0];
  for (int r = 1; r < 5; ++r) end = plus_product(end, low(down[r]), q[r * stride]);
  return plus_product(four_columns(p, stride, down, w), splat(fifth[0]), end);
}

// Positions where spline_at may be asked: x0 <= x < x1 and the same in y.
struct Reach {
  float x0 = 0, y0 = 0, x1 = 0, y1 = 0;
  bool contains(float x, float y) const { return x >= x0 && x < x1 && y >= y0 && y < y1; }
};
inline Reach spline_reach(const Rect& w) { return {w.x0 + 1.5f, w.y0 + 1.5f, w.x1 - 1.5f, w.y1 - 1.5f}; }
inline Reach mean_reach(const Rect& w) { return {w.x0 + 2.f, w.y0 + 2.f, w.x1 - 2.f, w.y1 - 2.f}; }

}  // namespace pw
