#include "track/texture_sigma.h"

#include <gtest/gtest.h>

#include "tests/track/drawn.h"
#include "track/noise.h"

namespace pw::texture_sigma_test {

using drawn::Scene;
const auto kAll = [](const Point&) { return true; };

double sigma_of(const Scene& s, const std::vector<Point>& region) {
  const Picture p = s.image(1);
  return texture_sigma(p, region, noise_sigma(p), kAll);
}

Scene still() {
  Scene s;
  s.fine = 1, s.grain = 0.01;
  return s;
}

TEST(TextureSigma, GrowsWithNoiseAndShrinksWithTheRegion) {
  Scene s = still();
  const double large = sigma_of(s, drawn::box(20, 20, 180, 140)), small = sigma_of(s, drawn::box(70, 50, 130, 110));
  EXPECT_LT(large, 0.7 * small);
  s.grain = 0.02;
  EXPECT_NEAR(sigma_of(s, drawn::box(20, 20, 180, 140)) / large, 2, 0.4);
}

TEST(TextureSigma, NothingOnWhatIsFlatOrStriped) {
  Scene s = still();
  s.paint = [](double, double, float* rgb) { rgb[0] = rgb[1] = rgb[2] = 0.2f; };
  const double flat = sigma_of(s, drawn::box(20, 20, 180, 140));
  EXPECT_TRUE(!(flat < 0.5)) << flat;
  s.paint = [](double x, double, float* rgb) { rgb[0] = rgb[1] = rgb[2] = float(0.2 + 0.1 * std::sin(x / 3)); };
  const double striped = sigma_of(s, drawn::box(20, 20, 180, 140));
  EXPECT_TRUE(!(striped < 0.5)) << striped;
}

}  // namespace pw::texture_sigma_test
