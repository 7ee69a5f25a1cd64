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

TEST(Noise, TinyPictureHasAGuess) { EXPECT_GT(noise_sigma(Canvas::clear(Rect::sized(5, 5), 3).finish()), 0); }

}  // namespace pw::noise_test
