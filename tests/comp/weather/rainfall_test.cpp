#include "comp/weather/rainfall.h"

#include <gtest/gtest.h>

#include <cmath>
#include <map>

#include "comp/weather/drops.h"

namespace pw::rainfall_test {

const Rainfall kFall{.width = 960,
                     .height = 540,
                     .focal_px = 1000,
                     .near_m = 1,
                     .far_m = 8,
                     .wind_m_s = 1.5,
                     .exposure_s = 1 / 48.,
                     .seed = 7};
const Rect kWhole = Rect::sized(960, 540);

// The drops of many moments, far apart, in a box that is wholly in view.
struct Box {
  static constexpr double kX = 1, kY = 0.6, kNear = 4, kFar = 6;
  static constexpr int kMoments = 60;
  std::vector<Drop> drops;
  explicit Box(double rain, uint64_t seed = 7) {
    Rainfall r = kFall;
    r.seed = seed;
    for (int i = 0; i < kMoments; ++i)
      for (const Drop& d : drops_before(r, rain, 97.0 * i, kWhole, 2))
        if (std::abs(d.x) < kX && std::abs(d.y) < kY && d.z > kNear && d.z < kFar) drops.push_back(d);
  }
  static constexpr double volume() { return 2 * kX * 2 * kY * (kFar - kNear) * kMoments; }
};

double expected(double rain, double from, double to) {
  const double slope = 4.1 * std::pow(rain, -0.21);
  return 8000 / slope * (std::exp(-slope * from) - std::exp(-slope * to)) * Box::volume();
}

TEST(Rainfall, SizesAreThoseOfMarshallAndPalmer) {
  for (const double rain : {2.0, 10.0, 50.0}) {
    const Box box(rain);
    for (const auto& [from, to] : {std::pair{.5, .75}, {.75, 1.}, {1., 1.5}, {1.5, 2.}, {2., 3.}, {3., 6.}}) {
      const double should = expected(rain, from, to);
      int64_t is = 0;
      for (const Drop& d : box.drops) is += d.mm >= from && d.mm < to;
      EXPECT_NEAR(double(is), should, 4 * std::sqrt(should) + 1) << rain << " mm/h, " << from << " to " << to;
    }
  }
}

TEST(Rainfall, SpeedsBelongToSizes) {
  const Box box(10);
  for (const Drop& d : box.drops) {
    EXPECT_NEAR(d.speed, 9.65 - 10.3 * std::exp(-0.6 * d.mm), 1e-4);
    EXPECT_LE(std::abs(d.sideways - 1.5), 0.0501 * d.speed);
  }
}

// What comes down is what was asked for, as far as the two published formulas agree with each other: their integral
// over all sizes is 11.642 mm/h for 10; here over the sizes that are drawn.
TEST(Rainfall, RainOnTheGround) {
  double fit = 0;
  for (double mm = kSmallestDrop; mm < kLargestDrop; mm += 1e-3)
    fit += 6 * M_PI * 1e-4 * (9.65 - 10.3 * std::exp(-0.6 * mm)) * mm * mm * mm * 8000 *
           std::exp(-4.1 * std::pow(10, -0.21) * mm) * 1e-3;
  EXPECT_NEAR(fit, 11.642, 0.3);
  double is = 0;
  for (uint64_t seed = 1; seed <= 4; ++seed) {
    const Box box(10, seed);
    for (const Drop& d : box.drops) is += 6 * M_PI * 1e-4 * d.speed * d.mm * d.mm * d.mm / Box::volume() / 4;
  }
  EXPECT_NEAR(is, fit, 0.03 * fit);
}

TEST(Rainfall, NowhereMoreThanElsewhere) {
  const Box box(50);
  int left = 0, high = 0, near = 0;
  for (const Drop& d : box.drops) left += d.x < 0, high += d.y < 0, near += d.z < 5;
  const double half = box.drops.size() / 2.0, spread = 4 * std::sqrt(half / 2);
  EXPECT_NEAR(left, half, spread);
  EXPECT_NEAR(high, half, spread);
  EXPECT_NEAR(near, half, spread);
}

TEST(Rainfall, DropsGoOnFromFrameToFrame) {
  std::map<uint64_t, Drop> before;
  for (const Drop& d : drops_before(kFall, 10, 100 / 24., kWhole, 2)) before[d.number] = d;
  EXPECT_GT(before.size(), 1000u);
  int same = 0, all = 0;
  for (const Drop& d : drops_before(kFall, 10, 101 / 24., kWhole, 2)) {
    // Those that were in view a frame ago.
    const double y = d.y - d.speed / 24, x = d.x - d.sideways / 24;
    if (std::abs(y * 1000 / d.z) > 240 || std::abs(x * 1000 / d.z) > 450) continue;
    ++all;
    const auto it = before.find(d.number);
    if (it == before.end()) continue;
    ++same;
    EXPECT_NEAR(d.y - it->second.y, d.speed / 24, 1e-5);
    EXPECT_NEAR(d.x - it->second.x, d.sideways / 24, 1e-5);
    EXPECT_EQ(d.z, it->second.z);
    EXPECT_EQ(d.mm, it->second.mm);
  }
  EXPECT_GT(all, 500);
  EXPECT_EQ(same, all);
}

TEST(Rainfall, MoreRainTakesNoDropAway) {
  std::map<uint64_t, int> heavy;
  for (const Drop& d : drops_before(kFall, 20, 3, kWhole, 2)) ++heavy[d.number];
  for (const auto& [number, count] : heavy) EXPECT_EQ(count, 1);
  size_t light = 0;
  for (const Drop& d : drops_before(kFall, 5, 3, kWhole, 2)) {
    EXPECT_EQ(heavy.count(d.number), 1u);
    ++light;
  }
  EXPECT_GT(light, 500u);
  EXPECT_GT(heavy.size(), light);
  EXPECT_TRUE(drops_before(kFall, 0, 3, kWhole, 2).empty());
}

TEST(Rainfall, PartsSeeTheSameDropsInTheSameOrder) {
  const auto whole = drops_before(kFall, 10, 5.5, kWhole, 3);
  for (const Rect r : {Rect{0, 0, 100, 540}, {300, 200, 364, 264}, {0, 476, 960, 540}}) {
    const auto part = drops_before(kFall, 10, 5.5, r, 3);
    size_t at = 0;
    for (const Drop& d : part) {
      while (at < whole.size() && whole[at].number != d.number) ++at;
      ASSERT_LT(at, whole.size());
      EXPECT_EQ(whole[at].x, d.x);
      EXPECT_EQ(whole[at].y, d.y);
    }
    EXPECT_LT(part.size(), whole.size());
  }
  for (size_t i = 1; i < whole.size(); ++i) EXPECT_LT(whole[i].z, whole[i - 1].z * 1.25 + 1e-9);  // Far to near.
}

TEST(Rainfall, OtherSeedsAreOtherDrops) {
  Rainfall other = kFall;
  other.seed = 8;
  const auto a = drops_before(kFall, 10, 5, kWhole, 2), b = drops_before(other, 10, 5, kWhole, 2);
  EXPECT_NEAR(double(a.size()), double(b.size()), 5 * std::sqrt(double(a.size())));
  EXPECT_NE(a[0].x, b[0].x);
}

}  // namespace pw::rainfall_test
