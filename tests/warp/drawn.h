// Pictures drawn by formula, and slow obvious versions of what warp/ does, for its tests.
#pragma once
#include <cmath>
#include <functional>
#include <limits>

#include "base/picture.h"
#include "base/transform.h"
#include "warp/resample.h"

namespace pw {

// Each pixel is the function's value at its centre, for each channel.
inline Picture draw(const Rect& r, int channels, const std::function<float(double x, double y, int k)>& f) {
  Canvas c(r, channels);
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x)
      for (int k = 0; k < channels; ++k) c.at(x, y)[k] = f(x + 0.5, y + 0.5, k);
  return std::move(c).finish();
}

// Positive, busy, without frequencies above 0.24 cycles per pixel: what a lens leaves of a market hall's front.
inline double texture(double x, double y, int k) {
  double v = 0.5;
  const double f[][3] = {{0.031, 0.012, 0.11}, {-0.052, 0.083, 0.09}, {0.12, 0.045, 0.07},
                         {0.02, -0.16, 0.05},  {0.19, -0.11, 0.035},  {0.11, 0.19, 0.03}};
  for (int i = 0; i < 6; ++i) v += f[i][2] * std::sin(2 * M_PI * (f[i][0] * x + f[i][1] * y) + 1.7 * i + 0.9 * k);
  return v;
}

// Noise that is the same for the same place.
inline float noise(int x, int y, int k) {
  uint32_t h = uint32_t(x) * 0x9e3779b1u ^ uint32_t(y) * 0x85ebca77u ^ uint32_t(k + 1) * 0xc2b2ae3du;
  h ^= h >> 15, h *= 0x2c1b3c6du, h ^= h >> 12, h *= 0x297a2d39u, h ^= h >> 15;
  return static_cast<float>(h >> 8) / 16777216.f;
}
inline Picture noise_picture(const Rect& r, int channels, float scale = 1) {
  return draw(r, channels,
              [=](double x, double y, int k) { return scale * noise(int(std::floor(x)), int(std::floor(y)), k); });
}

// Mean square difference over `r`, as a peak signal-to-noise ratio for a peak of 1, dB.
inline double psnr(const Picture& a, const Picture& b, const Rect& r) {
  double sum = 0;
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x)
      for (int k = 0; k < a.channels(); ++k) sum += std::pow(double(a.at(x, y)[k]) - b.at(x, y)[k], 2);
  return -10 * std::log10(sum / (double(r.area()) * a.channels()));
}

inline double largest_difference(const Picture& a, const Picture& b, const Rect& r) {
  double d = 0;
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x)
      for (int k = 0; k < a.channels(); ++k) {
        const double e = std::abs(double(a.at(x, y)[k]) - b.at(x, y)[k]);
        d = e <= d ? d : e;  // Not a number counts as larger.
      }
  return d;
}

inline bool all_finite(const Picture& p) {
  const Rect w = p.window();
  for (int y = w.y0; y < w.y1; ++y)
    for (int i = 0; i < w.width() * p.channels(); ++i)
      if (!std::isfinite(p.row(y)[i])) return false;
  return true;
}

// A pixel of a picture that goes on beyond its ends, by the definition of each edge.
inline double beyond(const Picture& p, int x, int y, int k, Edge edge) {
  const Rect w = p.window();
  const auto fold = [&](int i, int a, int b) {
    if (edge == Edge::hold) return std::min(std::max(i, a), b - 1);
    if (edge == Edge::mirror)
      while (i < a || i >= b) i = i < a ? 2 * a - 1 - i : 2 * b - 1 - i;
    return i;
  };
  x = fold(x, w.x0, w.x1), y = fold(y, w.y0, w.y1);
  return w.contains(x, y) ? p.at(x, y)[k] : 0;
}

// Scaled, turned and a little tilted.
inline Matrix3 tilted(double scale, double angle, double stretch = 1) {
  Matrix3 h;
  h << scale * stretch * std::cos(angle), -scale * std::sin(angle), 2.3, scale * stretch * std::sin(angle),
      scale * std::cos(angle), -1.7, 4e-4, -3e-4, 1;
  return h;
}

}  // namespace pw
