#include "comp/matte/combine.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>

#include "base/outline.h"
#include "base/random.h"
#include "comp/matte/raster.h"

namespace pw::combine_test {

Picture matte(const Rect& r, const std::function<double(int, int)>& value) {
  Canvas c(r, 1);
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x) *c.at(x, y) = static_cast<float>(value(x, y));
  return std::move(c).finish();
}
Picture noise(const Rect& r, uint64_t seed) {
  return matte(r, [&](int x, int y) { return uniform(random_bits(seed, 0, x, y)[0]); });
}
constexpr Rect kRect{-3, 2, 20, 17};

TEST(Combine, AddingIsCommutativeAndKeepsNothingAndOne) {
  const Picture a = noise(kRect, 1), b = noise(kRect, 2);
  const Picture zero = matte(kRect, [](int, int) { return 0; }), one = matte(kRect, [](int, int) { return 1; });
  const std::vector<Picture> ab{a, b}, ba{b, a}, with_zero{a, zero}, zero_first{zero, a}, with_one{a, one};
  const Picture p = added(ab, kRect), q = added(ba, kRect);
  for (int y = kRect.y0; y < kRect.y1; ++y)
    for (int x = kRect.x0; x < kRect.x1; ++x) {
      EXPECT_NEAR(*p.at(x, y), 1 - (1. - *a.at(x, y)) * (1. - *b.at(x, y)), 1e-6);
      EXPECT_NEAR(*p.at(x, y), *q.at(x, y), 1e-6);
    }
  EXPECT_TRUE(same_bits(added(with_zero, kRect), a));
  EXPECT_TRUE(same_bits(added(zero_first, kRect), a));
  EXPECT_TRUE(same_bits(added(std::span(&a, 1), kRect), a));
  EXPECT_EQ(*added({}, kRect).at(0, 5), 0);
  EXPECT_NEAR(*added(with_one, kRect).at(0, 5), 1, 1e-7);
}

TEST(Combine, CutAndInvert) {
  const Picture a = noise(kRect, 1), b = noise({0, 4, 9, 9}, 2);
  const Picture c = cut(a, b, kRect), i = inverted(b, kRect);
  for (int y = kRect.y0; y < kRect.y1; ++y)
    for (int x = kRect.x0; x < kRect.x1; ++x) {
      const float away = b.window().contains(x, y) ? *b.at(x, y) : 0;
      EXPECT_EQ(*c.at(x, y), *a.at(x, y) * (1 - away));
      EXPECT_EQ(*i.at(x, y), 1 - away);
    }
  EXPECT_EQ(*cut(a, inverted(a, kRect), kRect).at(2, 3) > 0, *a.at(2, 3) > 0);
}

TEST(Combine, FeatherAgainstTheDirectSum) {
  const Rect r{0, 0, 30, 26};
  const Picture a = noise(r, 5);
  const double f = 6, sigma = 2 / std::sqrt(28.0) * f;
  const int reach = feather_reach(f);
  std::vector<double> w;
  double all = 0;
  for (int k = -reach; k <= reach; ++k) {
    double mean = 0;  // Over the pixel.
    for (int j = 0; j < 1000; ++j) mean += std::exp(-0.5 * std::pow((k - 0.5 + (j + 0.5) / 1000) / sigma, 2)) / 1000;
    w.push_back(mean);
    all += mean;
  }
  const Picture p = feathered(a, f, r);
  for (int y = 0; y < 26; y += 5)
    for (int x = 0; x < 30; x += 5) {
      double s = 0;
      for (int j = -reach; j <= reach; ++j)
        for (int i = -reach; i <= reach; ++i)
          if (r.contains(x + i, y + j)) s += w[i + reach] * w[j + reach] * *a.at(x + i, y + j);
      EXPECT_NEAR(*p.at(x, y), s / all / all, 1e-5);
    }
}

TEST(Combine, FlatPartsKeepTheirBits) {
  const Picture flat = matte({-40, -40, 60, 60}, [](int, int) { return 0.7f; });
  const Picture step = matte({-40, -40, 60, 60}, [](int x, int) { return x < 10 ? 0 : 1; });
  const Picture p = feathered(flat, 9, {0, 0, 20, 20}), q = feathered(step, 9, {-30, 0, 50, 4});
  EXPECT_EQ(*p.at(7, 7), 0.7f);
  const int reach = feather_reach(9);
  EXPECT_EQ(*q.at(10 - reach - 1, 2), 0.f);
  EXPECT_EQ(*q.at(10 + reach, 2), 1.f);
  EXPECT_GT(*q.at(10 - reach + 1, 2), 0.f);
}

TEST(Combine, PartsAreTheWholeBitForBit) {
  const Picture a = noise({0, 0, 60, 50}, 3);
  const Picture whole = feathered(a, 5, {-10, -10, 70, 60});
  for (const Rect r : {Rect{-10, -10, 3, 60}, {17, 20, 18, 21}, {30, 5, 70, 33}})
    EXPECT_TRUE(same_bits(feathered(a, 5, r), whole.cropped(r)));
  // And what lies beyond the reach does not matter.
  const Rect r{20, 20, 30, 30};
  EXPECT_TRUE(same_bits(feathered(a.cropped(r.grown(feather_reach(5))), 5, r), whole.cropped(r)));
}

TEST(Combine, AnOutlinesFeatherAndAMattesFeatherAreAlike) {
  const Shape half{{polygon(std::vector<Point>{{40, -500}, {900, -500}, {900, 900}, {40, 900}})}};
  for (const double f : {2.0, 6.0, 15.0}) {
    const Rect r{0, 0, 80, 1};
    const Picture own = rasterise(half, r, f), blurred = feathered(rasterise(half, {-99, -99, 199, 100}), f, r);
    double worst = 0;
    for (int x = 0; x < 80; ++x) worst = std::max<double>(worst, std::abs(*own.at(x, 0) - *blurred.at(x, 0)));
    EXPECT_LT(worst, 0.04) << f;
    EXPECT_LT(*blurred.at(40 - int(f) - 1, 0), 0.01);
  }
}

TEST(Combine, NoFeatherReturnsTheMatte) {
  const Picture a = noise(kRect, 3);
  EXPECT_TRUE(same_bits(feathered(a, 0, kRect), a));
  EXPECT_EQ(feather_reach(0), 0);
  EXPECT_TRUE(feathered(a, 3, Rect{}).empty());
}

}  // namespace pw::combine_test
