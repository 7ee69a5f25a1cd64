#include "warp/defocus.h"

#include <gtest/gtest.h>

#include <cmath>

#include "base/random.h"

namespace pw::defocus_test {

Picture noise(const Rect& r, int channels) {
  Canvas c(r, channels);
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x)
      for (int k = 0; k < channels; ++k)
        c.at(x, y)[k] = uniform(random_bits(2, k, x, y)[0]) * (x % 7 == 0 ? 40.f : 1.f);
  return std::move(c).finish();
}

// Whether a point lies in the opening, from the half planes of its sides.
bool inside(const Aperture& a, double x, double y) {
  if (a.blades < 3) return x * x + y * y < a.radius_px * a.radius_px;
  for (int i = 0; i < a.blades; ++i) {
    const double t = (a.turn_deg / 360 + (i + 0.5) / a.blades) * 2 * M_PI;  // Outward, at a side's middle.
    if (x * std::sin(t) - y * std::cos(t) > a.radius_px * std::cos(M_PI / a.blades)) return false;
  }
  return true;
}

// The mean over the opening of the source read linearly between pixels, by n x n points a pixel of the opening's box.
double slow(const Picture& p, int k, const Aperture& a, int x, int y) {
  const int n = std::max(160, int(40 * a.radius_px));
  double sum = 0, count = 0;
  for (int j = 0; j < n; ++j)
    for (int i = 0; i < n; ++i) {
      const RandomBits b = random_bits(1, 0, i, j);  // Anywhere in its cell, so that straight sides are met evenly.
      const double dx = (2 * (i + uniform(b[0])) / n - 1) * a.radius_px,
                   dy = (2 * (j + uniform(b[1])) / n - 1) * a.radius_px;
      if (!inside(a, dx, dy)) continue;
      // A point of light at q shows at q + d: what is seen at x comes from x - d.
      const int ix = int(std::floor(x - dx)), iy = int(std::floor(y - dy));
      const double u = x - dx - ix, v = y - dy - iy;
      const auto at = [&](int sx, int sy) { return p.window().contains(sx, sy) ? double(p.at(sx, sy)[k]) : 0; };
      sum += (1 - v) * ((1 - u) * at(ix, iy) + u * at(ix + 1, iy)) +
             v * ((1 - u) * at(ix, iy + 1) + u * at(ix + 1, iy + 1));
      ++count;
    }
  return sum / count;
}

const std::vector<Aperture> kApertures = {{0.05}, {0.3},    {0.9},        {1.7},     {4.6},
                                          {11.3}, {5.5, 3}, {6.2, 5, 20}, {8, 6, 7}, {3, 4, 45}};

TEST(Defocus, AgainstManyPoints) {
  const Picture p = noise({-5, -5, 35, 30}, 3);
  for (const Aperture& a : kApertures) {
    const Rect r{4, 3, 9, 7};
    const Picture is = defocused(p, a, r);
    for (int y = r.y0; y < r.y1; ++y)
      for (int x = r.x0; x < r.x1; ++x)
        for (int k = 0; k < 3; ++k)
          ASSERT_NEAR(is.at(x, y)[k], slow(p, k, a, x, y), 0.002 * slow(p, k, a, x, y) + 0.012)  // Of lights of 40.
              << a.radius_px << " " << a.blades;
  }
}

TEST(Defocus, LightIsKept) {
  const Picture p = noise({0, 0, 20, 15}, 4);
  for (const Aperture& a : kApertures) {
    const Picture q = defocused(p, a, p.window().grown(defocus_reach(a)));
    for (int k = 0; k < 4; ++k) {
      double before = 0, after = 0;
      for (int y = 0; y < 15; ++y)
        for (int x = 0; x < 20; ++x) before += p.at(x, y)[k];
      for (int y = q.window().y0; y < q.window().y1; ++y)
        for (int x = q.window().x0; x < q.window().x1; ++x) after += q.at(x, y)[k];
      EXPECT_NEAR(after, before, 2e-6 * before) << a.radius_px << " " << a.blades;
    }
    double sum = 0;
    for (double w : aperture_weights(a).weight) sum += w;
    EXPECT_NEAR(sum, 1, 1e-12);
  }
}

TEST(Defocus, ADiscIsAsWideAsItsRadius) {  // Variance of a disc: r^2 / 4 along each axis; of the hat: 1 / 6 at most.
  for (const double r : {2.5, 10.0, 40.0}) {
    const ApertureWeights w = aperture_weights({r});
    double x2 = 0, y2 = 0;
    for (int y = -w.reach; y <= w.reach; ++y)
      for (int x = -w.reach; x <= w.reach; ++x) x2 += w.at(x, y) * x * x, y2 += w.at(x, y) * y * y;
    EXPECT_NEAR(x2, r * r / 4 + 1 / 6., 0.004 * r + 0.01);
    EXPECT_NEAR(y2, x2, 0.002 * r);
  }
}

TEST(Defocus, APointShowsTheOpeningUpright) {  // Three blades: the corner is on top.
  const float one[] = {1};
  const Picture q = defocused(Canvas::filled({0, 0, 1, 1}, 1, one).finish(), {10, 3}, {-12, -12, 13, 13});
  EXPECT_GT(*q.at(0, -8), 0);
  EXPECT_EQ(*q.at(0, 8), 0);
  EXPECT_GT(*q.at(7, 4), 0);
  EXPECT_EQ(*q.at(7, -8), 0);
}

TEST(Defocus, NoRadiusKeepsBits) {
  const Picture p = noise({0, 0, 20, 15}, 4);
  EXPECT_TRUE(same_bits(defocused(p, {}, p.window()), p));
}

TEST(Defocus, PartsAreTheWholeBitForBit) {
  const Picture p = noise({0, 0, 60, 45}, 4);
  for (const Aperture& a : kApertures) {
    const Picture whole = defocused(p, a, {-5, -5, 65, 50});
    for (const Rect r : {Rect{-5, -5, 7, 50}, {30, 20, 31, 21}, {11, 3, 65, 19}}) {
      EXPECT_TRUE(same_bits(defocused(p, a, r), whole.cropped(r)));
      EXPECT_TRUE(same_bits(defocused(p.cropped(r.grown(defocus_reach(a))), a, r), whole.cropped(r)));
    }
  }
}

}  // namespace pw::defocus_test
