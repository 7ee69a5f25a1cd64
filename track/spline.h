// Interpolation by cubic B-splines: M. Unser, A. Aldroubi, M. Eden, "B-spline signal processing", IEEE Transactions on
// Signal Processing 41, 1993. Of all kernels four pixels wide it has the least error on smooth pictures (P. Thevenaz,
// T. Blu, M. Unser, "Interpolation revisited", IEEE Transactions on Medical Imaging 19, 2000).
#pragma once
#include "track/raster.h"

namespace pw {

// Replaces pixels by spline coefficients, mirrored at the edges; the spline through them passes through every pixel.
void to_spline(Raster& r);

// The four weights at fraction t in [0, 1) past a sample.
inline f4 spline_weights(float t) {
  const float s = 1 - t, s2 = s * s, t2 = t * t;
  const float a = s2 * s * (1 / 6.f), d = t2 * t * (1 / 6.f), b = 2 / 3.f - t2 + 0.5f * t2 * t;
  return f4{a, b, 1 - a - b - d, d};
}

// The spline at position (x, y), counted from the outer corner of the raster's first pixel of plate (0, 0). Needs two
// pixels on every side: see spline_reach.
inline f4 spline_at(const Raster& coefficients, float x, float y) {
  const float u = x - 0.5f, v = y - 0.5f;
  const int iu = static_cast<int>(u) - (u < 0), iv = static_cast<int>(v) - (v < 0);
  const f4 wx = spline_weights(u - iu), wy = spline_weights(v - iv);
  const int64_t stride = coefficients.window().width();
  const f4* p = &coefficients.at(iu - 1, iv - 1);
  f4 sum = splat(0);
  for (int j = 0; j < 4; ++j, p += stride)
    sum += splat(wy[j]) * (splat(wx[0]) * p[0] + splat(wx[1]) * p[1] + splat(wx[2]) * p[2] + splat(wx[3]) * p[3]);
  return sum;
}

// Positions where spline_at may be asked: x0 <= x < x1 and the same in y.
struct Reach {
  float x0, y0, x1, y1;
  bool contains(float x, float y) const { return x >= x0 && x < x1 && y >= y0 && y < y1; }
};
inline Reach spline_reach(const Rect& w) { return {w.x0 + 1.5f, w.y0 + 1.5f, w.x1 - 1.5f, w.y1 - 1.5f}; }

}  // namespace pw
