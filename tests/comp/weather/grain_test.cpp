#include "comp/weather/grain.h"

#include <gtest/gtest.h>

#include <cmath>

namespace pw::grain_test {

const Rect kAll = Rect::sized(256, 192);

Picture flat(float v, const Rect& r = kAll) {
  const float value[3] = {v, v, v};
  return Canvas::filled(r, 3, value).finish();
}

Noise asked() {
  Noise n = Noise::white({{0, 0.002}, {0.18, 0.01}, {1, 0.023}});
  n.levels[2] = {{0, 0.004}, {1, 0.04}};
  // An exponential falling off by 0.55 a pixel along x and 0.35 along y in red and green; blue is white.
  n.reach = 4;
  for (int c = 0; c < 3; ++c) {
    n.spatial[c].clear();
    for (int y = -4; y <= 4; ++y)
      for (int x = -4; x <= 4; ++x)
        n.spatial[c].push_back(c == 2 ? x == 0 && y == 0 : std::pow(0.55, std::abs(x)) * std::pow(0.35, std::abs(y)));
  }
  n.between = {{{1, 0.6, 0.2}, {0.6, 1, 0.2}, {0.2, 0.2, 1}}};
  return n;
}

struct Found {
  double mean, sigma;
};
Found found(const Picture& p, const Picture& clean, int c) {
  double sum = 0, squares = 0;
  for (int y = 0; y < kAll.y1; ++y)
    for (int x = 0; x < kAll.x1; ++x) {
      const double d = double(p.at(x, y)[c]) - clean.at(x, y)[c];
      sum += d, squares += d * d;
    }
  const double n = double(kAll.area());
  return {sum / n, std::sqrt(squares / n - sum * sum / n / n)};
}

// Correlation of channel c with channel e at a lag.
double correlation(const Picture& p, float clean, int c, int e, int dx, int dy) {
  double cc = 0, ee = 0, ce = 0;
  for (int y = 0; y + dy < kAll.y1; ++y)
    for (int x = 0; x + dx < kAll.x1; ++x) {
      const double a = p.at(x, y)[c] - clean, b = p.at(x + dx, y + dy)[e] - clean;
      cc += a * a, ee += b * b, ce += a * b;
    }
  return ce / std::sqrt(cc * ee);
}

TEST(Grain, HasTheLevelsThatWereAsked) {
  const Noise n = asked();
  const GrainRecipe r = grain_recipe(n);
  double worst = 0;
  for (float v : {0.f, 0.02f, 0.1f, 0.18f, 0.5f, 1.f, 3.f})
    for (int c = 0; c < 3; ++c) {
      const Found f = found(add_grain(flat(v), r, 5, 12, 1, 1, kAll), flat(v), c);
      worst = std::max(worst, std::abs(f.sigma / n.sigma(c, v) - 1));
      EXPECT_NEAR(f.mean, 0, 0.05 * n.sigma(c, v)) << v;
    }
  std::printf("levels off by %.4f at most\n", worst);
  EXPECT_LT(worst, 0.03);
}

TEST(Grain, HangsTogetherAsAsked) {
  const Noise n = asked();
  const Picture p = add_grain(flat(0.2f), grain_recipe(n), 5, 12, 1, 1, kAll);
  double worst = 0;
  for (int c = 0; c < 3; ++c)
    for (int y = 0; y <= 4; ++y)
      for (int x = 0; x <= 4; ++x)
        worst = std::max(worst, std::abs(correlation(p, 0.2f, c, c, x, y) - n.spatial[c][(y + 4) * 9 + x + 4]));
  for (int c = 0; c < 3; ++c)
    worst = std::max(worst, std::abs(correlation(p, 0.2f, c, (c + 1) % 3, 0, 0) - n.between[c][(c + 1) % 3]));
  std::printf("correlations off by %.4f at most\n", worst);
  EXPECT_LT(worst, 0.04);
}

TEST(Grain, EveryFrameAndSeedIsAnother) {
  const GrainRecipe r = grain_recipe(asked());
  const Picture a = add_grain(flat(0.2f), r, 5, 12, 1, 1, kAll);
  for (const Picture& b : {add_grain(flat(0.2f), r, 5, 13, 1, 1, kAll), add_grain(flat(0.2f), r, 6, 12, 1, 1, kAll)}) {
    double ab = 0, aa = 0;
    for (int y = 0; y < kAll.y1; ++y)
      for (int x = 0; x < kAll.x1; ++x) {
        ab += double(a.at(x, y)[1] - 0.2f) * (b.at(x, y)[1] - 0.2f);
        aa += double(a.at(x, y)[1] - 0.2f) * (a.at(x, y)[1] - 0.2f);
      }
    EXPECT_NEAR(ab / aa, 0, 0.03);
  }
}

TEST(Grain, APartIsThatPartOfTheWhole) {
  const GrainRecipe r = grain_recipe(asked());
  const Picture whole = add_grain(flat(0.2f), r, 5, 12, 1, 1, kAll);
  const Rect part{31, 17, 90, 55};
  EXPECT_TRUE(same_bits(add_grain(flat(0.2f), r, 5, 12, 1, 1, part), Canvas::copy(whole, part).finish()));
  EXPECT_TRUE(same_bits(add_grain(flat(0.2f, part), r, 5, 12, 1, 1, part), Canvas::copy(whole, part).finish()));
}

TEST(Grain, NoneKeepsTheBitsAndAlphaIsKept) {
  const GrainRecipe r = grain_recipe(asked());
  EXPECT_TRUE(same_bits(add_grain(flat(0.2f), r, 5, 1, 0, 1, kAll), flat(0.2f)));
  const float soft[4] = {0.1f, 0.1f, 0.1f, 0.5f}, none[4] = {};
  const Picture p = add_grain(Canvas::filled(kAll, 4, soft).finish(), r, 5, 1, 1, 1, kAll);
  EXPECT_EQ(p.at(9, 9)[3], 0.5f);
  double squares = 0;
  for (int y = 0; y < kAll.y1; ++y)
    for (int x = 0; x < kAll.x1; ++x) squares += std::pow(p.at(x, y)[1] - 0.1, 2);
  EXPECT_NEAR(std::sqrt(squares / double(kAll.area())) / (0.5 * asked().sigma(1, 0.2)), 1, 0.03);
  const Picture clear = Canvas::filled(kAll, 4, none).finish();
  EXPECT_TRUE(same_bits(add_grain(clear, r, 5, 1, 1, 1, kAll), clear));
}

TEST(Grain, AProxyHasWhatAveragingLeaves) {
  const Noise n = Noise::white({{0.18, 0.01}});
  const Found f = found(add_grain(flat(0.2f), grain_recipe(n), 5, 1, 1, 0.25, kAll), flat(0.2f), 0);
  EXPECT_NEAR(f.sigma, 0.0025, 0.0001);
}

TEST(Grain, ImpossibleCorrelationsGiveTheNearestThatIsPossible) {
  Noise n = Noise::white({{0.18, 0.01}});
  n.reach = 1;
  n.spatial.fill({0.9, -0.9, 0.9, -0.9, 1, -0.9, 0.9, 0.9, 0.9});
  n.between = {{{1, 0.9, -0.9}, {0.9, 1, 0.9}, {-0.9, 0.9, 1}}};
  const Picture p = add_grain(flat(0.2f), grain_recipe(n), 5, 1, 1, 1, kAll);
  for (int c = 0; c < 3; ++c) EXPECT_NEAR(found(p, flat(0.2f), c).sigma, 0.01, 0.001);
}

}  // namespace pw::grain_test
