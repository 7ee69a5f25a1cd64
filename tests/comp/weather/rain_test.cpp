#include "comp/weather/rain.h"

#include <gtest/gtest.h>

#include <cmath>

namespace pw::rain_test {

const Rainfall kFall{
    .width = 480, .height = 270, .focal_px = 500, .near_m = 1, .far_m = 8, .exposure_s = 1 / 48., .seed = 7};
const Rect kWhole = Rect::sized(480, 270);

Picture filled(float r, float g, float b) {
  const float v[] = {r, g, b};
  return Canvas::filled(kWhole, 3, v).finish();
}

struct Moments {
  double sum = 0, x = 0, y = 0, along = 0, across = 0;  // along, across: variances.
};
Moments moments_of(const Picture& p, double ux, double uy) {
  Moments m;
  const Rect w = p.window();
  for (int pass = 0; pass < 2; ++pass) {
    for (int y = w.y0; y < w.y1; ++y)
      for (int x = w.x0; x < w.x1; ++x) {
        const double a = p.at(x, y)[3], dx = x + 0.5 - m.x, dy = y + 0.5 - m.y;
        if (pass == 0) m.sum += a, m.x += a * (x + 0.5), m.y += a * (y + 0.5);
        if (pass == 1) m.along += a * std::pow(dx * ux + dy * uy, 2), m.across += a * std::pow(dx * uy - dy * ux, 2);
      }
    if (pass == 0) m.x /= m.sum, m.y /= m.sum;
  }
  m.along /= m.sum, m.across /= m.sum;
  return m;
}

Drop drop(float mm, double z, float speed, float sideways = 0) { return {1, mm, speed, sideways, 0, 0, z, 0.5f}; }

// Geometry: focal length times speed times exposure over distance. 2 mm at 6.49 m/s, 1/48 s, f = 1000 px, 5 m: 27.04 px
// long and 0.4 px wide.
TEST(Rain, StreakOfAWorkedExample) {
  Rainfall r = kFall;
  r.focal_px = 1000;
  const Streak s = streak_of(drop(2, 5, 6.49f), r, {.aperture_mm = 0});
  EXPECT_NEAR(s.long_y, 27.0417, 1e-3);
  EXPECT_NEAR(s.width_px, 0.4, 1e-6);  // The speed is a float.
  EXPECT_EQ(s.long_x, 0);
  EXPECT_EQ(s.x, 240);
}

TEST(Rain, DrawnStreaksHaveTheirLengthWidthLightAndPlace) {
  for (const double z : {1.2, 3.0, 7.0})
    for (const float mm : {1.f, 4.f})
      for (const float sideways : {0.f, 3.f})
        for (const double aperture : {0.0, 10.0}) {
          Drop d = drop(mm, z, 7, sideways);
          d.x = 0.0123 * z, d.y = -0.021 * z;
          const Streak s = streak_of(d, kFall, {.focus_m = 15, .aperture_mm = aperture});
          Canvas c = Canvas::clear(kWhole.grown(40), 4);
          const float light[] = {2, 1, 0.5f};
          lay_streak(s, light, c);
          const Picture p = std::move(c).finish();
          const double length = std::hypot(s.long_x, s.long_y);
          const Moments m = moments_of(p, s.long_x / length, s.long_y / length);
          if (m.sum == 0) {  // Too faint to be drawn.
            EXPECT_LT(s.share() / (length + s.deviation_px) / s.deviation_px, 1e-3);
            continue;
          }
          EXPECT_NEAR(m.sum, M_PI / 4 * std::pow(mm * 1e-3 * 500 / z, 2), 0.01 * m.sum);
          EXPECT_NEAR(std::sqrt(12 * (m.along - m.across)), length, 0.02 * length + 0.1);
          EXPECT_NEAR(std::sqrt(m.across), s.deviation_px, 0.05 * s.deviation_px);
          EXPECT_NEAR(m.x, 240 + 0.0123 * 500, 0.02);
          EXPECT_NEAR(m.y, 135 - 0.021 * 500, 0.02);
          const float* middle = p.at(int(s.x), int(s.y));
          EXPECT_NEAR(middle[0], 2 * middle[3], 1e-6);
          EXPECT_NEAR(middle[2], 0.5 * middle[3], 1e-6);
        }
}

// A drop in focus covers a place for at most D / v; for drops of 0.5 to 6 mm that stays below 3.9 % of 1/30 s (the
// bound given by Garg and Nayar, 2007), whatever the distance.
TEST(Rain, NoStreakIsThickerThanPublished) {
  Rainfall r = kFall;
  r.exposure_s = 1 / 30.;
  r.focal_px = 4000;
  for (const float mm : {0.5f, 1.f, 2.f, 4.f, 6.f}) {
    const float speed = 9.65f - 10.3f * std::exp(-0.6f * mm);
    const Streak s = streak_of(drop(mm, 1, speed), r, {.aperture_mm = 0});
    Canvas c = Canvas::clear({200, 100, 280, 170}, 4);
    const float light[] = {1, 1, 1};
    lay_streak(s, light, c);
    const Picture p = std::move(c).finish();
    float most = 0;
    for (int y = 100; y < 170; ++y)
      for (int x = 200; x < 280; ++x) most = std::max(most, p.at(x, y)[3]);
    EXPECT_LT(most, 0.039) << mm;
    EXPECT_GT(most, 0.5 * M_PI / 4 * mm * 1e-3 / speed * 30) << mm;
  }
}

TEST(Rain, DropsAreLitByWhatIsAround) {
  const Surroundings around(filled(0.4f, 0.2f, 0.1f), kWhole, 96);
  const Picture p = rain(kFall, {.light = {3, 3, 3}}, around, 20, 4.25, nullptr, 0, kWhole);
  double alpha = 0, red = 0, blue = 0;
  for (int y = 0; y < 270; ++y)
    for (int x = 0; x < 480; ++x) {
      const float* v = p.at(x, y);
      alpha += v[3], red += v[0], blue += v[2];
      ASSERT_GE(v[3], 0);
      ASSERT_LE(v[3], 1);
    }
  EXPECT_GT(alpha, 1);
  EXPECT_NEAR(red / alpha, 0.4 * 3 * 0.94, 0.04);
  EXPECT_NEAR(blue / alpha, 0.1 * 3 * 0.94, 0.01);
}

// Optical depth of the drops: at 10 mm/h Marshall and Palmer's have, from 0.5 to 6 mm, 6.7 cm2 of cross-section in a
// cubic metre (derived), which is what a metre of depth covers.
TEST(Rain, CoversWhatItsCrossSectionsSay) {
  EXPECT_NEAR(mean_cover(kFall, {.aperture_mm = 0}, 10, 1, 2), 6.73e-4, 0.05e-4);
  EXPECT_EQ(mean_cover(kFall, {}, 0, 1, 2), 0);
  EXPECT_EQ(mean_cover(kFall, {}, 10, 2, 2), 0);
}

TEST(Rain, KeepsTheLevelWhenAsked) {
  const Surroundings around(filled(0.8f, 0.6f, 0.4f), kWhole, 50);
  for (const bool keep : {false, true}) {
    double added = 0, most = 0;
    constexpr int kTimes = 8;
    for (int n = 0; n < kTimes; ++n) {
      const Picture p =
          rain(kFall, {.light = {1.5, 1.5, 1.5}, .keep_level = keep}, around, 20, 0.37 * n, nullptr, 0, kWhole);
      // Over a background of 0.1.
      for (int y = 0; y < 270; ++y)
        for (int x = 0; x < 480; ++x) {
          const double more = p.at(x, y)[0] - 0.1 * p.at(x, y)[3];
          added += more / (270.0 * 480 * kTimes), most = std::max(most, more);
        }
    }
    const double all = mean_cover(kFall, {}, 20, 1, 8) * (0.8 * 1.5 * 0.94 - 0.1);
    EXPECT_NEAR(added / all, keep ? 0 : 1, 0.06);
    EXPECT_GT(most, 2 * all);
  }
  // Nothing is taken off where all drops are hidden.
  const float one[] = {1};
  const Picture matte = Canvas::filled(kWhole, 1, one).finish();
  const Picture p = rain(kFall, {.keep_level = true}, around, 20, 0, &matte, kFall.near_m, kWhole);
  for (int y = 0; y < 270; ++y)
    for (int i = 0; i < 4 * 480; ++i) ASSERT_EQ(p.row(y)[i], 0.f);
}

TEST(Rain, AddsTheLightItIsTold) {
  const Surroundings around(filled(0.8f, 0.6f, 0.4f), kWhole, 50);
  const std::array<double, 3> share{0.08, 0.06, 0.03};
  RainLook look;
  look.light = light_that_adds(share, kFall, look, 20);
  std::array<double, 3> added{};
  constexpr int kTimes = 8;
  for (int n = 0; n < kTimes; ++n) {
    const Picture p = rain(kFall, look, around, 20, 0.37 * n, nullptr, 0, kWhole);
    for (int y = 0; y < 270; ++y)
      for (int x = 0; x < 480; ++x)
        for (int k = 0; k < 3; ++k) added[k] += p.at(x, y)[k] / (270.0 * 480 * kTimes);
  }
  EXPECT_NEAR(added[0] / (0.8 * share[0]), 1, 0.05);
  EXPECT_NEAR(added[1] / (0.6 * share[1]), 1, 0.05);
  EXPECT_NEAR(added[2] / (0.4 * share[2]), 1, 0.05);
  const std::array<double, 3> none{};
  EXPECT_EQ(light_that_adds({}, kFall, look, 20), none);
  EXPECT_EQ(light_that_adds(share, kFall, look, 0), none);
}

TEST(Rain, MattesHideWhatFallsBehindThem) {
  const Surroundings around(filled(0.4f, 0.2f, 0.1f), kWhole, 96);
  const float one[] = {1};
  const Picture matte = Canvas::filled({100, 50, 300, 270}, 1, one).finish();
  const Picture open = rain(kFall, {}, around, 20, 4, nullptr, 0, kWhole),
                all = rain(kFall, {}, around, 20, 4, &matte, 0, kWhole),
                some = rain(kFall, {}, around, 20, 4, &matte, 3, kWhole);
  double before = 0, behind = 0;
  for (int y = 0; y < 270; ++y)
    for (int x = 0; x < 480; ++x) {
      const bool in = matte.window().contains(x, y);
      ASSERT_EQ(all.at(x, y)[3], in ? 0 : open.at(x, y)[3]);
      if (!in) {
        ASSERT_NEAR(some.at(x, y)[1], open.at(x, y)[1], 1e-6);
      }
      if (in) before += some.at(x, y)[3], behind += open.at(x, y)[3] - some.at(x, y)[3];
    }
  EXPECT_GT(before, 1);
  EXPECT_GT(behind, 1);
}

TEST(Rain, PartsAreTheWholeBitForBit) {
  const Surroundings around(filled(0.4f, 0.2f, 0.1f), kWhole, 96);
  Rainfall r = kFall;
  r.wind_m_s = -4;
  const Picture whole = rain(r, {}, around, 30, 123.5, nullptr, 0, kWhole);
  for (const Rect part : {Rect{0, 0, 480, 64}, {200, 100, 201, 101}, {333, 7, 480, 270}})
    EXPECT_TRUE(same_bits(rain(r, {}, around, 30, 123.5, nullptr, 0, part), whole.cropped(part)));
}

}  // namespace pw::rain_test
