#include "base/noise.h"

#include <gtest/gtest.h>

#include <cmath>

namespace pw::noise_test {

// A. Foi et al. 2008: sigma^2 = a y + b, here a = 0.01, b = 0.0004; the square roots worked out by hand.
TEST(Noise, TwoLevelsGiveTheAffineLaw) {
  const Noise n = Noise::white({{0, 0.02}, {1, std::sqrt(0.0104)}});
  EXPECT_NEAR(n.sigma(0, 0), 0.02, 1e-12);
  EXPECT_NEAR(n.sigma(1, 0.1), 0.037417, 1e-6);
  EXPECT_NEAR(n.sigma(2, 0.5), 0.073485, 1e-6);
  EXPECT_NEAR(n.sigma(0, 1), 0.101980, 1e-6);
}

TEST(Noise, IsHeldBeyondTheEnds) {
  const Noise n = Noise::white({{0.1, 0.02}, {0.5, 0.03}});
  EXPECT_EQ(n.sigma(0, -1), 0.02);
  EXPECT_EQ(n.sigma(0, 7), 0.03);
}

TEST(Noise, OneLevelHoldsEverywhere) { EXPECT_EQ(Noise::white({{0.18, 0.01}}).sigma(2, 0.9), 0.01); }

}  // namespace pw::noise_test
