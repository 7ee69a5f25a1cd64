#include "comp/repair/degrain.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace pw::degrain_test {

const Rect kAll = Rect::sized(160, 120);
constexpr double kA = 1.6e-3, kB = 1e-5;

double scene(double x, double y, int k) {
  const double row = std::floor(y / 13), column = std::floor((x + 9 * row) / 27);
  const double joint = std::fmod(y, 13) < 2 || std::fmod(x + 9 * row, 27) < 2 ? 0.5 : 1;
  return joint * (0.1 + 0.5 * x / 160) * (0.8 + 0.1 * k + 0.1 * std::sin(5 * column + 3 * row));
}

Picture drawn(double grain, int channels = 3) {
  std::mt19937 random(7);
  std::normal_distribution<double> normal;
  Canvas c(kAll, channels);
  for (int y = 0; y < kAll.y1; ++y)
    for (int x = 0; x < kAll.x1; ++x) {
      for (int k = 0; k < 3; ++k) {
        const double p = scene(x + 0.5, y + 0.5, k);
        c.at(x, y)[k] = static_cast<float>(p + grain * std::sqrt(kA * p + kB) * normal(random));
      }
      if (channels == 4) c.at(x, y)[3] = 1;
    }
  return std::move(c).finish();
}

Noise law() { return Noise::white({{0, std::sqrt(kB)}, {1, std::sqrt(kA + kB)}}); }

double rms(const Picture& a, const Picture& b) {
  double sum = 0;
  for (int y = 0; y < kAll.y1; ++y)
    for (int x = 0; x < kAll.x1; ++x)
      for (int k = 0; k < 3; ++k) sum += std::pow(double(a.at(x, y)[k]) - b.at(x, y)[k], 2);
  return std::sqrt(sum / (3 * kAll.area()));
}

TEST(Degrain, TakesMostOfTheGrainAndLeavesTheJoints) {
  const Picture clean = drawn(0), grainy = drawn(1), result = degrained(grainy, law(), 1, kAll);
  std::printf("error %.5f before, %.5f after\n", rms(grainy, clean), rms(result, clean));
  EXPECT_LT(rms(result, clean), 0.45 * rms(grainy, clean));
  double contrast = 0, kept = 0;  // Across a horizontal joint.
  for (int x = 60; x < 100; ++x) {
    contrast += clean.at(x, 45)[1] - clean.at(x, 40)[1];
    kept += result.at(x, 45)[1] - result.at(x, 40)[1];
  }
  EXPECT_NEAR(kept / contrast, 1, 0.05);
}

TEST(Degrain, HardlyTouchesAPictureWithoutGrain) {
  const Picture clean = drawn(0);
  EXPECT_LT(rms(degrained(clean, law(), 1, kAll), clean), 0.25 * std::sqrt(kA * 0.3 + kB));
}

TEST(Degrain, LessGrainIsExpectedOfAStillOfSeveralFrames) {
  const Picture clean = drawn(0), half = drawn(0.5);
  EXPECT_LT(rms(degrained(half, law(), 0.5, kAll), clean), rms(degrained(half, law(), 1, kAll), clean));
  EXPECT_LT(rms(degrained(half, law(), 0.5, kAll), clean), 0.6 * rms(half, clean));
}

TEST(Degrain, NoneLeftKeepsTheBits) {
  const Picture p = drawn(1);
  EXPECT_TRUE(same_bits(degrained(p, law(), 0, kAll), p));
}

TEST(Degrain, APartIsThatPartOfTheWhole) {
  const Picture p = drawn(1, 4), whole = degrained(p, law(), 1, kAll);
  const Rect part{37, 22, 71, 60};
  EXPECT_TRUE(same_bits(degrained(p, law(), 1, part), Canvas::copy(whole, part).finish()));
  EXPECT_TRUE(
      same_bits(degrained(p.cropped(part.grown(kDegrainReach)), law(), 1, part), Canvas::copy(whole, part).finish()));
}

TEST(Degrain, SmallAndClearPicturesComeBack) {
  const float value[4] = {0.1f, 0.2f, 0.3f, 0.5f};
  const Picture soft = Canvas::filled(Rect::sized(20, 20), 4, value).finish(),
                small = Canvas::filled(Rect::sized(5, 3), 4, value).finish();
  EXPECT_TRUE(same_bits(degrained(soft, law(), 1, soft.window()), soft));
  EXPECT_TRUE(same_bits(degrained(small, law(), 1, small.window()), small));
}

}  // namespace pw::degrain_test
