#include "track/noise.h"

#include <gtest/gtest.h>

#include "tests/track/drawn.h"

namespace pw::noise_test {

TEST(Noise, FlatFieldIsExact) {
  for (double sigma : {0.004, 0.02}) {
    drawn::Scene s;
    s.grain = sigma;
    s.paint = [](double, double, float* rgb) { rgb[0] = 0.1f, rgb[1] = 0.2f, rgb[2] = 0.4f; };
    EXPECT_NEAR(noise_sigma(s.image(1)), sigma, 0.08 * sigma);
  }
}

TEST(Noise, TextureOnlyAddsALittle) {
  drawn::Scene s;
  s.grain = 0.01;
  s.paint = [](double x, double y, float* rgb) {
    drawn::texture(x, y, rgb);
    if (y < 60) rgb[0] = rgb[1] = rgb[2] = 0.3f;
  };
  const double sigma = noise_sigma(s.image(1));
  EXPECT_GT(sigma, 0.008);
  EXPECT_LT(sigma, 0.014);
}

// Of gradients the share that is noise, of what the mask leaves.
double share(double grain, bool textured, const Rect& shown) {
  drawn::Scene s;
  s.grain = grain;
  s.paint = [textured](double x, double y, float* rgb) {
    if (textured)
      drawn::texture(x, y, rgb);
    else
      rgb[0] = 0.1f, rgb[1] = 0.2f, rgb[2] = 0.4f;
  };
  const Picture p = s.image(1);
  const Rect box = p.window();
  std::vector<float> mask(size_t(box.area()), 0.f);
  for (int y = shown.y0; y < shown.y1; ++y)
    for (int x = shown.x0; x < shown.x1; ++x) mask[size_t(y) * size_t(box.width()) + size_t(x)] = 1;
  return noise_in_gradients(p, box, mask, grain);
}

TEST(NoiseInGradients, AllOfThemOnAFlatField) { EXPECT_NEAR(share(0.02, false, {10, 10, 100, 80}), 1, 0.05); }

TEST(NoiseInGradients, GrowsWithTheSquareOfTheGrain) {
  const Rect shown{10, 10, 100, 80};
  const auto odds = [&](double grain) {
    const double s = share(grain, true, shown);
    return s / (1 - s);
  };
  EXPECT_LT(odds(0.002), 0.01);
  EXPECT_NEAR(odds(0.04) / odds(0.02), 4, 0.3);
  EXPECT_NEAR(odds(0.02) / odds(0.01), 4, 0.3);
}

TEST(NoiseInGradients, NothingIsSeen) { EXPECT_EQ(share(0.02, true, {0, 0, 0, 0}), 1); }

TEST(Noise, TinyPictureHasAGuess) { EXPECT_GT(noise_sigma(Canvas::clear(Rect::sized(5, 5), 3).finish()), 0); }

}  // namespace pw::noise_test
