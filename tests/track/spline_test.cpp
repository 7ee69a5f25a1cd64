#include "track/spline.h"

#include <gtest/gtest.h>

#include <cmath>

#include "base/random.h"

namespace pw::spline_test {

// The slow obvious version: sixteen products, weights from the definition of the cubic B-spline.
float slow(const Raster& c, double x, double y, int channel) {
  const auto b3 = [](double t) {
    t = std::abs(t);
    return t < 1 ? 2 / 3.0 - t * t + t * t * t / 2 : t < 2 ? (2 - t) * (2 - t) * (2 - t) / 6 : 0.0;
  };
  double sum = 0;
  const Rect w = c.window();
  for (int j = w.y0; j < w.y1; ++j)
    for (int i = w.x0; i < w.x1; ++i) sum += b3(x - 0.5 - i) * b3(y - 0.5 - j) * c.at(i, j)[channel];
  return float(sum);
}

Raster random_raster(const Rect& w, double scale) {
  Raster r(w);
  for (int y = w.y0; y < w.y1; ++y)
    for (int x = w.x0; x < w.x1; ++x) {
      const RandomBits b = random_bits(3, 0, x, y);
      for (int c = 0; c < 4; ++c) r.at(x, y)[c] = float(scale * uniform(b[c]));
    }
  return r;
}

TEST(Spline, PassesThroughEveryPixel) {
  for (double scale : {1.0, 1e6}) {
    const Rect w{-3, 5, 40, 31};
    const Raster before = random_raster(w, scale);
    Raster c = random_raster(w, scale);
    to_spline(c);
    for (int y = w.y0 + 2; y < w.y1 - 2; ++y)
      for (int x = w.x0 + 2; x < w.x1 - 2; ++x)
        for (int k = 0; k < 4; ++k) EXPECT_NEAR(spline_at(c, x + 0.5f, y + 0.5f)[k], before.at(x, y)[k], 2e-6 * scale);
  }
}

TEST(Spline, AgreesWithTheDefinition) {
  const Rect w{0, 0, 24, 20};
  Raster c = random_raster(w, 1);
  to_spline(c);
  for (int i = 0; i < 200; ++i) {
    const RandomBits b = random_bits(4, 0, i, 0);
    const float x = 2 + 20 * uniform(b[0]), y = 2 + 16 * uniform(b[1]);
    for (int k = 0; k < 4; ++k) EXPECT_NEAR(spline_at(c, x, y)[k], slow(c, x, y, k), 2e-6);
  }
}

TEST(Spline, MeanOverASquare) {
  const Rect w{0, 0, 24, 20};
  Raster c = random_raster(w, 1);
  to_spline(c);
  constexpr int kSteps = 40;
  for (int i = 0; i < 40; ++i) {
    const RandomBits b = random_bits(6, 0, i, 0);
    const float x = 2.5f + 19 * uniform(b[0]), y = 2.5f + 15 * uniform(b[1]);
    double mean[4] = {};
    for (int n = 0; n < kSteps; ++n)
      for (int m = 0; m < kSteps; ++m) {
        const f4 v = spline_at(c, x + (m + 0.5f) / kSteps - 0.5f, y + (n + 0.5f) / kSteps - 0.5f);
        for (int k = 0; k < 4; ++k) mean[k] += v[k] / (kSteps * kSteps);
      }
    for (int k = 0; k < 4; ++k) EXPECT_NEAR(spline_mean_at(c, x, y)[k], mean[k], 5e-4);
  }
}

TEST(Spline, SmoothFunctionsInTheInterior) {
  Raster c(Rect{0, 0, 60, 60});
  const auto f = [](double x, double y) { return 0.5 + 0.3 * std::sin(0.5 * x + 0.3 * y); };
  for (int y = 0; y < 60; ++y)
    for (int x = 0; x < 60; ++x) c.at(x, y) = splat(float(f(x + 0.5, y + 0.5)));
  to_spline(c);
  for (double t = 20; t < 40; t += 0.37) EXPECT_NEAR(spline_at(c, float(t), float(60 - t))[1], f(t, 60 - t), 3e-4);
}

}  // namespace pw::spline_test
