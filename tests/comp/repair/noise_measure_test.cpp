#include "comp/repair/noise_measure.h"

#include <gtest/gtest.h>

#include <cmath>
#include <map>
#include <random>

#include "comp/weather/rain.h"

namespace pw::noise_measure_test {

constexpr int kW = 320, kH = 240, kLast = 12;
constexpr double kA = 4e-4, kB = 4e-6;  // Variance a * light + b.

// A wall of bricks from dark to bright, seen by a camera that drifts by a fraction of a pixel a frame.
double wall(double x, double y, int k) {
  const double row = std::floor(y / 20), column = std::floor((x + 11 * row) / 36);
  const double joint = std::fmod(y + 2000, 20) < 2 || std::fmod(x + 11 * row + 3600, 36) < 2 ? 0.5 : 1;
  return joint * (0.02 + 0.9 * std::pow(x / kW, 2)) * (0.8 + 0.1 * k + 0.1 * std::sin(3.3 * column + 7 * row));
}

struct Drawn final : NoiseFrames {
  double scale = 1, drift = 0.37;
  int blur = 0;         // The grain is averaged over this many pixels on either side along x.
  double together = 0;  // What the channels have in common.
  int downpour = 0;
  int spread = 0;   // Pixels on either side of a streak's middle that show as much of it, out of focus.
  double step = 0;  // Of the code; 0: none.
  bool rain = false, clean = false, apart = false, black = false;
  bool river = false;  // Below the wall something without texture that moves otherwise.

  int first() const override { return 1; }
  int last() const override { return kLast; }
  Picture image(int f) const override {
    if (const auto it = made_.find(f); it != made_.end()) return it->second;
    std::mt19937 random(f);
    std::normal_distribution<double> normal;
    std::vector<double> n(size_t{4} * (kW + 16) * kH);
    for (double& v : n) v = normal(random);
    const auto number = [&](int x, int y, int k) {
      double sum = 0;
      for (int i = -blur; i <= blur; ++i)
        sum += std::sqrt(1 - together) * n[4 * ((size_t)y * (kW + 16) + x + 8 + i) + k] +
               std::sqrt(together) * n[4 * ((size_t)y * (kW + 16) + x + 8 + i) + 3];
      return sum / std::sqrt(2 * blur + 1);
    };
    Canvas c(Rect::sized(kW, kH), 3);
    for (int y = 0; y < kH; ++y)
      for (int x = 0; x < kW; ++x)
        for (int k = 0; k < 3; ++k) {
          const double p = black                 ? 0
                           : river && y > kH / 2 ? 0.3 + 0.2 * x / kW + 0.01 * std::sin(0.11 * x + 0.17 * y + 40.0 * f)
                                                 : wall(x + 0.5 - drift * f, y + 0.5, k);
          const double g = clean || black ? 0 : std::sqrt(kA * p + kB) * number(x, y, k);
          c.at(x, y)[k] = static_cast<float>(scale * (p + g));
        }
    // Slanted streaks a pixel wide that lie anywhere between pixels, so many that no patch is without.
    for (int i = 0; i < downpour; ++i) {
      const double at = (random() % 100000) / 1e5 * kW, top = (random() % 100000) / 1e5 * kH - 20;
      const int length = 14 + int(random() % 14);
      for (int v = 0; v < length; ++v) {
        const int y = int(top) + v;
        const double x = at - 0.2 * v;
        const int left = int(std::floor(x));
        for (int side = -spread; side < 2 + spread; ++side) {
          const double share = side == -spread ? 1 - x + left : side == 1 + spread ? x - left : 1;
          for (int k = 0; k < 3; ++k)
            if (y >= 0 && y < kH && left + side >= 0 && left + side < kW)
              c.at(left + side, y)[k] += static_cast<float>(scale * 0.012 * share);
        }
      }
    }
    for (int i = 0; rain && i < 60; ++i) {
      const int x = int(random() % kW), y = int(random() % kH), length = 10 + int(random() % 30);
      for (int v = y; v < std::min(kH, y + length); ++v)
        for (int k = 0; k < 3; ++k) c.at(x, v)[k] += static_cast<float>(scale * 0.05);
    }
    if (step > 0)
      for (int y = 0; y < kH; ++y)
        for (int x = 0; x < kW; ++x)
          for (int k = 0; k < 3; ++k) c.at(x, y)[k] = static_cast<float>(step * std::round(c.at(x, y)[k] / step));
    return made_[f] = std::move(c).finish();
  }
  Picture ignore(int) const override { return {}; }
  Motion motion() const {
    Motion m{kW, kH, 1, {{20, 20}, {300, 20}, {300, 200}, {20, 200}}, {}};
    for (int f = 1; f <= kLast; ++f) {
      Pose p;
      p.frame = f, p.frame_from_ref = translation(apart ? 1000.0 * f : drift * (f - 1), 0);
      m.poses.push_back(p);
    }
    return m;
  }

 private:
  mutable std::map<int, Picture> made_;
};

bool go_on(int, int) { return true; }

std::optional<Noise> measured(const Drawn& d) {
  const Motion m = d.motion();
  return measure_noise(d, &m, serial(), go_on);
}

double worst_level(const Noise& n, double scale = 1) {
  double worst = 0;
  for (int c = 0; c < 3; ++c)
    for (double b : {0.02, 0.05, 0.1, 0.18, 0.3, 0.5, 0.7, 0.9})
      worst = std::max(worst, std::abs(n.sigma(c, b * scale) / (scale * std::sqrt(kA * b + kB)) - 1));
  return worst;
}

TEST(NoiseMeasure, FindsLevelsUnderTexture) {
  const Drawn d;
  const auto n = measured(d);
  ASSERT_TRUE(n);
  std::printf("levels off by %.3f at most\n", worst_level(*n));
  EXPECT_LT(worst_level(*n), 0.06);
  EXPECT_EQ(n->reach, 0);
  EXPECT_EQ(n->between[0][1], 0);
}

TEST(NoiseMeasure, HiddenFramesAreNotCompared) {
  const Drawn d;
  Motion m = d.motion();
  m.poses[2].status = TrackStatus::lost;
  const auto lost = measure_noise(d, &m, serial(), go_on);
  m.poses[2].status = TrackStatus::hidden;
  m.poses[2].frame_from_ref = translation(0.7, 0.4) * m.poses[2].frame_from_ref;
  const auto hidden = measure_noise(d, &m, serial(), go_on);
  ASSERT_TRUE(lost && hidden);
  for (double x : {0.1, 0.3, 0.6}) EXPECT_EQ(hidden->sigma(1, x), lost->sigma(1, x));
}

TEST(NoiseMeasure, DoesNotDependOnTheUnitOfLight) {
  Drawn a, b;
  b.scale = 1e6;
  const Motion m = a.motion();
  const auto one = measure_noise(a, &m, serial(), go_on), million = measure_noise(b, &m, serial(), go_on);
  ASSERT_TRUE(one && million);
  for (double x : {0.1, 0.3, 0.6}) EXPECT_NEAR(million->sigma(1, 1e6 * x) / (1e6 * one->sigma(1, x)), 1, 0.01);
}

TEST(NoiseMeasure, FindsWhatHangsTogether) {
  Drawn d;
  d.blur = 1, d.together = 0.4;
  const auto n = measured(d);
  ASSERT_TRUE(n);
  ASSERT_GE(n->reach, 2);
  const int r = n->reach, side = 2 * r + 1;
  const auto lag = [&](int x, int y) { return n->spatial[1][(y + r) * side + x + r]; };
  std::printf("three in a row: %.3f %.3f %.3f, below %.3f; channels %.3f; levels off by %.3f\n", lag(1, 0), lag(2, 0),
              r > 2 ? lag(3, 0) : 0.0, lag(0, 1), n->between[0][2], worst_level(*n));
  EXPECT_NEAR(lag(1, 0), 2 / 3., 0.04);
  EXPECT_NEAR(lag(2, 0), 1 / 3., 0.04);
  EXPECT_NEAR(lag(0, 1), 0, 0.03);
  for (int i = 0; i < 3; ++i) EXPECT_NEAR(n->between[i][(i + 1) % 3], 0.4, 0.04);
  EXPECT_LT(worst_level(*n), 0.08);
}

TEST(NoiseMeasure, RainDoesNotFoolIt) {
  Drawn d;
  d.rain = true;
  const auto n = measured(d);
  ASSERT_TRUE(n);
  double together = 0;
  for (const auto& s : n->spatial)
    for (double r : s)
      if (r < 1) together = std::max(together, std::abs(r));
  std::printf("under rain: levels off by %.3f, correlations by %.3f\n", worst_level(*n), together);
  EXPECT_LT(worst_level(*n), 0.08);
  EXPECT_LT(together, 0.05);
}

TEST(NoiseMeasure, WideStreaksLeaveNoCorrelation) {
  Drawn d;
  d.downpour = 1200, d.spread = 1;
  const auto n = measured(d);
  ASSERT_TRUE(n);
  EXPECT_EQ(n->reach, 0);
}

TEST(NoiseMeasure, ADownpourIsToldFromGrain) {
  Drawn d;
  d.downpour = 3000;
  const auto n = measured(d);
  ASSERT_TRUE(n);
  double together = 0;
  for (const auto& s : n->spatial)
    for (double r : s)
      if (r < 1) together = std::max(together, std::abs(r));
  double worst = 0;
  for (int c = 0; c < 3; ++c)
    for (double b : {0.05, 0.1, 0.2, 0.3, 0.5, 0.7})
      worst = std::max(worst, std::abs(n->sigma(c, b) / std::sqrt(kA * b + kB) - 1));
  std::printf("in a downpour: levels off by %.3f, correlations by %.3f, channels by %.3f\n", worst, together,
              std::abs(n->between[0][1]));
  EXPECT_LT(worst, 0.15);
  EXPECT_LT(together, 0.1);
}

// A wall in rain as the rain is drawn elsewhere, of 10 and 25 mm/h, by daylight that wavers.
struct Rainy final : NoiseFrames {
  double rate = 10;
  int first() const override { return 1; }
  int last() const override { return 10; }
  Picture image(int f) const override {
    std::mt19937 random(f);
    std::normal_distribution<double> normal;
    const Picture wall = lit();
    const Picture drops =
        rain(kFall, {.light = {12, 13, 14}}, around_drops(wall, kShown), rate, 0.37 * f, nullptr, 0, kShown);
    const double light = 1 + 0.1 * std::sin(2.2 * f);
    Canvas c(kShown, 3);
    for (int y = 0; y < kShown.y1; ++y)
      for (int x = 0; x < kShown.x1; ++x)
        for (int k = 0; k < 3; ++k) {
          const double clean = light * (wall.at(x, y)[k] * (1 - drops.at(x, y)[3]) + drops.at(x, y)[k]);
          c.at(x, y)[k] = static_cast<float>(clean + std::sqrt(kA * clean + kB) * normal(random));
        }
    return std::move(c).finish();
  }
  Picture ignore(int) const override { return {}; }
  // What the rain adds on average where the wall is as bright as what is around.
  std::array<double, 3> share() const {
    std::array<double, 3> sum;
    const double cover = mean_cover(kFall, {}, rate, kFall.near_m, kFall.far_m);
    for (int k = 0; k < 3; ++k) sum[k] = cover * (0.94 * std::array{12.0, 13.0, 14.0}[k] - 1);
    return sum;
  }
  static constexpr Rect kShown = Rect::sized(480, 270);
  static constexpr Rainfall kFall{
      .width = 480, .height = 270, .focal_px = 500, .near_m = 1, .far_m = 8, .exposure_s = 1 / 48., .seed = 7};

 private:
  static Picture lit() {
    Canvas c(kShown, 3);
    for (int y = 0; y < kShown.y1; ++y)
      for (int x = 0; x < kShown.x1; ++x)
        for (int k = 0; k < 3; ++k)
          c.at(x, y)[k] = static_cast<float>((0.2 - 0.05 * k) * (1 + 0.2 * std::sin(x / 45.0) * std::cos(y / 38.0)));
    return std::move(c).finish();
  }
};

TEST(NoiseMeasure, TellsTheLightThatRainAdds) {
  for (const double rate : {10.0, 25.0}) {
    Rainy d;
    d.rate = rate;
    const auto n = measure_noise(d, nullptr, serial(), go_on);
    ASSERT_TRUE(n);
    for (int k = 0; k < 3; ++k) {
      std::printf("%g mm/h: the rain adds %.4f of the light, told as %.4f\n", rate, d.share()[k], n->rain[k]);
      EXPECT_NEAR(n->rain[k] / d.share()[k], 1, 0.2) << rate << " " << k;
    }
  }
  const Drawn dry;
  const auto n = measured(dry);
  ASSERT_TRUE(n);
  const std::array<double, 3> none{};
  EXPECT_EQ(n->rain, none);
}

// Where a step of the code is several times the grain, the gentle slopes of the wall turn into steps, whose differences
// lie in lines down the picture.
TEST(NoiseMeasure, RoundingIsNeitherStreaksNorCoarseGrain) {
  Drawn d;
  d.step = 0.08;
  const auto n = measured(d);
  ASSERT_TRUE(n);
  EXPECT_EQ(n->reach, 0);
  EXPECT_EQ(n->between[0][1], 0);
  EXPECT_LT(n->sigma(1, 0.5), d.step);
}

TEST(NoiseMeasure, WhatMovesOtherwiseIsNoGrain) {
  Drawn d;
  d.river = true, d.clean = true;
  const auto n = measured(d);
  ASSERT_TRUE(n);
  std::printf("no grain, a river: sigma %.5f; channels %.3f\n", n->sigma(1, 0.4), n->between[0][1]);
  EXPECT_LT(n->sigma(1, 0.4), 0.0035);
  EXPECT_EQ(n->reach, 0);
  EXPECT_EQ(n->between[0][1], 0);
}

TEST(NoiseMeasure, ACameraThatStandsNeedsNoMotion) {
  Drawn d;
  d.drift = 0;
  const auto n = measure_noise(d, nullptr, serial(), go_on);
  ASSERT_TRUE(n);
  EXPECT_LT(worst_level(*n), 0.06);
}

TEST(NoiseMeasure, NothingToMeasureIsNoNoise) {
  Drawn apart, clean, black;
  apart.apart = true, clean.clean = true, clean.drift = 0, black.black = true;
  const Motion m = apart.motion();
  EXPECT_FALSE(measure_noise(apart, &m, serial(), go_on));
  EXPECT_FALSE(measure_noise(clean, nullptr, serial(), go_on));
  EXPECT_FALSE(measure_noise(black, nullptr, serial(), go_on));
  EXPECT_FALSE(measure_noise(Drawn{}, nullptr, serial(), [](int, int) { return false; }));
}

TEST(NoiseMeasure, AnyRunnerGivesTheSame) {
  const Drawn d;
  const Motion m = d.motion();
  const auto two = arena(2);
  const auto a = measure_noise(d, &m, serial(), go_on), b = measure_noise(d, &m, *two, go_on);
  ASSERT_TRUE(a && b);
  for (double x : {0.01, 0.1, 0.7}) EXPECT_EQ(a->sigma(0, x), b->sigma(0, x));
}

}  // namespace pw::noise_measure_test
