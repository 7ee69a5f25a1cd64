#include "comp/repair/lift.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>

#include "base/random.h"

namespace pw::lift_test {

constexpr Rect kRect = Rect::sized(64, 48);

Picture drawn(int channels, const std::function<double(int x, int y, int k)>& value) {
  Canvas c(kRect, channels);
  for (int y = 0; y < 48; ++y)
    for (int x = 0; x < 64; ++x)
      for (int k = 0; k < channels; ++k) c.at(x, y)[k] = static_cast<float>(value(x, y, k));
  return std::move(c).finish();
}
double cover(double x, double y) { return std::clamp((16 - std::hypot(x - 32, y - 24)) / 8 + 0.5, 0.0, 1.0); }
double thing(int x, int y, int k) { return 0.3 + 0.1 * k + 0.08 * std::sin(0.2 * x) * std::cos(0.15 * y); }
double wall(int x, int y, int k) { return (x / 4 + y / 4) % 2 ? 0.9 - 0.2 * k : 0.05 + 0.1 * k; }  // Bright and dark.
double noise(int x, int y, int k, int lane) {
  return gauss(random_bits(3, k, x, y, lane)[0], random_bits(3, k, x, y, lane)[1])[0];
}

const Picture kMatte = drawn(1, [](int x, int y, int) { return cover(x, y); });
const Picture kClean = drawn(3, wall);
Picture shot(double grain) {
  return drawn(3, [=](int x, int y, int k) {
    const double a = cover(x, y);
    return a * thing(x, y, k) + (1 - a) * wall(x, y, k) + grain * noise(x, y, k, 0);
  });
}
// Root mean square error of a F where the thing covers a part.
double error(const Picture& lifted) {
  double sum = 0;
  int count = 0;
  for (int y = 0; y < 48; ++y)
    for (int x = 0; x < 64; ++x) {
      const double a = cover(x, y);
      if (a <= 0 || a >= 1) continue;
      for (int k = 0; k < 3; ++k, ++count) sum += std::pow(lifted.at(x, y)[k] - a * thing(x, y, k), 2);
    }
  return std::sqrt(sum / count);
}

TEST(Lift, WithoutGrainTheEdgeComesBackExactly) {
  EXPECT_LT(error(lifted(shot(0), kClean, kMatte, {.steady = 0}, kRect)), 1e-6);
  EXPECT_LT(error(lifted(shot(0), kClean, kMatte, {}, kRect)), 1e-3);
}

TEST(Lift, NothingOfTheOldBackgroundFringesIt) {
  // Laid on another background, against the thing laid on it directly; and against what a plain cut-out gives.
  const Picture image = shot(0), cut = lifted(image, kClean, kMatte, {}, kRect);
  double worst = 0, plain = 0;
  for (int y = 0; y < 48; ++y)
    for (int x = 0; x < 64; ++x) {
      const double a = cover(x, y);
      for (int k = 0; k < 3; ++k) {
        const double should = a * thing(x, y, k) + (1 - a) * 0.5;
        worst = std::max(worst, std::abs(cut.at(x, y)[k] + (1 - a) * 0.5 - should));
        plain = std::max(plain, std::abs(a * image.at(x, y)[k] + (1 - a) * 0.5 - should));
      }
    }
  EXPECT_LT(worst, 0.004);
  EXPECT_GT(plain, 0.1);
}

TEST(Lift, GrainIsHeldBackWhereLittleIsCovered) {
  const Picture image = shot(0.03);
  const Picture steady = lifted(image, kClean, kMatte, {.steady = 0.1}, kRect),
                free = lifted(image, kClean, kMatte, {.steady = 0}, kRect);
  EXPECT_LT(error(steady), 0.03);
  double f = 0, s = 0;
  for (int y = 0; y < 48; ++y)
    for (int x = 0; x < 64; ++x) {
      const double a = cover(x, y);
      if (a <= 0 || a > 0.2) continue;
      for (int k = 0; k < 3; ++k) {
        s += std::pow(steady.at(x, y)[k] / a - thing(x, y, k), 2);
        f += std::pow(free.at(x, y)[k] / a - thing(x, y, k), 2);
      }
    }
  EXPECT_LT(s, 0.1 * f);
}

TEST(Lift, CoveredPixelsKeepTheirBitsAndOthersAreClear) {
  const Picture image = shot(0.03), cut = lifted(image, kClean, kMatte, {}, kRect);
  for (int y = 0; y < 48; ++y)
    for (int x = 0; x < 64; ++x) {
      const float a = *kMatte.at(x, y);
      EXPECT_EQ(cut.at(x, y)[3], a);
      for (int k = 0; k < 3; ++k) {
        if (a == 0 || a == 1) {
          EXPECT_EQ(cut.at(x, y)[k], a * image.at(x, y)[k]);
        }
        EXPECT_GE(cut.at(x, y)[k], 0);
      }
    }
}

TEST(Lift, WhereTheCleanPlateIsBareTheColourNearbyStands) {
  const Picture half = kClean.cropped({0, 0, 32, 48}), cut = lifted(shot(0), half, kMatte, {}, kRect);
  double worst = 0;
  for (int y = 12; y < 36; ++y)
    for (int x = 33; x < 64; ++x) {
      const double a = cover(x, y);
      if (a < 0.3) continue;
      for (int k = 0; k < 3; ++k) worst = std::max(worst, std::abs(cut.at(x, y)[k] - a * thing(x, y, k)));
    }
  EXPECT_LT(worst, 0.08);
}

TEST(Lift, AnUnknownBackgroundIsGuessedFromWhatIsSeenBeside) {
  const auto hedge = [](int x, int y, int k) { return 0.7 - 0.15 * k + 0.002 * x - 0.001 * y; };
  const Picture image = drawn(3, [&](int x, int y, int k) {
    const double a = cover(x, y);
    return a * thing(x, y, k) + (1 - a) * hedge(x, y, k);
  });
  const LiftOptions o{.near_px = 12, .steady = 0};
  const Picture behind = guessed_behind(image, kMatte, o, kRect), cut = lifted(image, behind, kMatte, o, kRect);
  double worst = 0, plain = 0;
  for (int y = 12; y < 36; ++y)
    for (int x = 10; x < 54; ++x) {
      const double a = cover(x, y);
      for (int k = 0; k < 3; ++k) {
        worst = std::max(worst, std::abs(cut.at(x, y)[k] - a * thing(x, y, k)));
        plain = std::max(plain, a * std::abs(image.at(x, y)[k] - thing(x, y, k)));
      }
    }
  EXPECT_LT(worst, 0.02);
  EXPECT_GT(plain, 0.08);
  EXPECT_EQ(guessed_behind(image, kMatte, {.near_px = 4}, kRect).at(32, 24)[3],
            0);  // Nothing of it is seen near there.
}

TEST(Lift, WhereTwoThingsMeetBehindTheEdgeNeitherColoursIt) {
  const auto behind_it = [](int x, int, int k) { return x < 32 ? 0.9 - 0.4 * k : 0.12 - 0.03 * k; };  // Yellow, brick.
  const Picture image = drawn(3, [&](int x, int y, int k) {
    const double a = cover(x, y);
    return a * thing(x, y, k) + (1 - a) * behind_it(x, y, k);
  });
  const auto cut = [&](bool guessed) {
    const LiftOptions o{.near_px = 12, .steady = 0.1, .guessed = guessed};
    return lifted(image, guessed_behind(image, kMatte, o, kRect), kMatte, o, kRect);
  };
  const auto fringe = [&](const Picture& p) {  // What is darker than the thing is anywhere.
    double most = 0;
    for (int y = 0; y < 48; ++y)
      for (int x = 0; x < 64; ++x)
        for (int k = 0; k < 3; ++k) most = std::max(most, cover(x, y) * (0.22 + 0.1 * k) - p.at(x, y)[k]);
    return most;
  };
  EXPECT_LT(fringe(cut(true)), 0.01);
  EXPECT_GT(fringe(cut(false)), 0.05);
  EXPECT_LT(error(cut(true)), error(cut(false)));
}

TEST(Lift, TheShadowIsWhatItLeavesOfTheLight) {
  const auto dim = [](int x, int y) { return y > 30 ? 0.4 + 0.005 * x : 1; };
  const Picture image = drawn(3, [&](int x, int y, int k) {
    const double a = cover(x, y);
    return a * thing(x, y, k) + (1 - a) * wall(x, y, k) * dim(x, y);
  });
  const Picture where = drawn(1, [](int, int y, int) { return y > 26 ? 1 : 0; });
  const Picture s = lifted_shadow(image, kClean, kMatte, where, {.shadow_soft_px = 0}, kRect);
  for (int y = 0; y < 48; ++y)
    for (int x = 0; x < 64; ++x) {
      const float* v = s.at(x, y);
      const double a = cover(x, y), there = y > 26 ? 1 - a : 0;
      ASSERT_NEAR(v[3], there, 1e-6);
      if (there < 0.01) continue;
      // At the thing's edge its own light is in the ratio; it cannot lighten.
      for (int k = 0; k < 3 && a == 0; ++k) ASSERT_NEAR(v[k] / v[3], dim(x, y), 0.02) << x << " " << y;
      for (int k = 0; k < 3; ++k) ASSERT_LE(v[k], v[3] * 1.00001f);
    }
}

TEST(Lift, PartsAreTheWholeBitForBit) {
  const Picture image = shot(0.03), where = drawn(1, [](int x, int, int) { return x / 64.; });
  const LiftOptions o{.near_px = 5, .shadow_soft_px = 3};
  const Picture whole = lifted(image, kClean, kMatte, o, kRect),
                shadow = lifted_shadow(image, kClean, kMatte, where, o, kRect);
  for (const Rect r : {Rect{0, 0, 9, 48}, {20, 20, 21, 21}, {13, 7, 64, 40}}) {
    const Rect a = r.grown(lift_reach(o)), b = r.grown(lift_shadow_reach(o));
    EXPECT_TRUE(same_bits(lifted(image.cropped(a), kClean.cropped(a), kMatte.cropped(a), o, r), whole.cropped(r)));
    EXPECT_TRUE(same_bits(guessed_behind(image.cropped(a), kMatte.cropped(a), o, r),
                          guessed_behind(image, kMatte, o, kRect).cropped(r)));
    EXPECT_TRUE(same_bits(lifted_shadow(image.cropped(b), kClean.cropped(b), kMatte.cropped(b), where.cropped(r), o, r),
                          shadow.cropped(r)));
  }
}

}  // namespace pw::lift_test
