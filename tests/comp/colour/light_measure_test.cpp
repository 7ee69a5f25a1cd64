#include "comp/colour/light_measure.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "comp/colour/relight.h"

namespace pw::light_measure_test {

constexpr int kW = 240, kH = 160, kLast = 16;

// Bricks with joints, a different colour each; nothing of the project draws it.
double wall(double x, double y, int k) {
  const double row = std::floor(y / 9), column = std::floor((x + 7 * row) / 17);
  const double joint = std::fmod(y + 900, 9) < 1.5 || std::fmod(x + 7 * row + 1700, 17) < 1.5 ? 0.4 : 1;
  return joint * (0.15 + 0.05 * k + 0.08 * std::sin(12.9 * column + 78.2 * row));
}

struct Lamp {
  double x, y, reach, rate;
};
constexpr Lamp kLamps[] = {{60, 40, 45, 1.7}, {130, 90, 40, 2.9}};  // The second shines where the block hides.

// Light falling on a place: sky and two lamps that waver by 15 % each its own way.
double falling(double x, double y, int frame) {
  double sum = 0.4;
  for (const Lamp& l : kLamps)
    sum += (1 + 0.15 * std::sin(l.rate * frame + l.x)) * std::exp(-std::hypot(x - l.x, y - l.y) / l.reach);
  return sum;
}

// Stops that frame `frame` is brighter than frame `own`, the still's.
double truth(double x, double y, int frame, int own) { return std::log2(falling(x, y, frame) / falling(x, y, own)); }

struct Drawn final : LightFrames {
  double scale = 1, grain = 0, shift = 0;  // `shift`: pixels the camera moves a frame.
  int own = 8, last_frame = kLast;
  bool occluder = false;  // Something bright passes that no matte knows of.
  Rect hidden;            // Ignored, and black, but for frames 7 to 9.
  bool all_hidden = false;
  int blind = -1;    // A frame that shows nothing.
  double flash = 0;  // Stops, on frame 5.

  int width() const override { return kW; }
  int height() const override { return kH; }
  int first() const override { return 1; }
  int last() const override { return last_frame; }
  bool hides(int f) const { return f < 7 || f > 9; }
  Picture draw(int f, bool plate) const {
    std::mt19937 random(f * 2 + plate);
    std::normal_distribution<double> normal;
    Canvas c(Rect::sized(kW, kH), 3);
    for (int y = 0; y < kH; ++y)
      for (int x = 0; x < kW; ++x)
        for (int k = 0; k < 3; ++k) {
          const double u = x + 0.5 - shift * f, v = y + 0.5;
          double p = wall(u, v, k) * falling(u, v, plate ? f : own);
          if (plate && f == 5) p *= std::exp2(flash);
          if (plate) p += grain * std::sqrt(p) * normal(random);
          if (plate && occluder && std::hypot(x - 12.0 * f, y - 70.0) < 12) p = 0.9;
          if (plate && hides(f) && hidden.contains(x, y)) p = 0;
          c.at(x, y)[k] = static_cast<float>(scale * p);
        }
    return std::move(c).finish();
  }
  Picture plate(int f) const override { return draw(f, true); }
  Picture still(int f) const override { return draw(f, false); }
  Picture ignore(int f) const override {
    const float one = 1;
    if (all_hidden || f == blind) return Canvas::filled(Rect::sized(kW, kH), 1, &one).finish();
    if (hidden.empty() || !hides(f)) return {};
    return Canvas::filled(hidden, 1, &one).finish();
  }
  Motion motion() const {
    Motion m{kW, kH, 1, {{20, 20}, {200, 20}, {200, 140}, {20, 140}}, {}};
    for (int f = 1; f <= last_frame; ++f) {
      Pose p;
      p.frame = f, p.frame_from_ref = translation(shift * (f - 1), 0);
      m.poses.push_back(p);
    }
    return m;
  }
};

bool go_on(int, int) { return true; }

// Root mean square of the field's error inside `where`, as a share of the light.
double error(const Light& l, const Drawn& d, const Rect& where) {
  double sum = 0;
  int count = 0;
  for (const LightFrame& f : l.frames)
    for (int y = where.y0; y < where.y1; y += 3)
      for (int x = where.x0; x < where.x1; x += 3) {
        std::array<float, 3> s;
        l.at(f, x, y, s);
        for (int k = 0; k < 3; ++k, ++count)
          sum += std::pow(std::exp2(s[k] - truth(x - d.shift * f.frame, y, f.frame, d.own)) - 1, 2);
      }
  return std::sqrt(sum / count);
}

const Rect kInner{10, 10, kW - 10, kH - 10};

TEST(LightMeasure, FindsAKnownField) {
  const Drawn d;
  const auto l = measure_light(d, nullptr, 12, serial(), go_on);
  ASSERT_TRUE(l);
  ASSERT_EQ(l->frames.size(), size_t{kLast});
  EXPECT_EQ(l->frames[3].seen_share, 1);
  const double e = error(*l, d, kInner);
  std::printf("exact data: %.4f RMS\n", e);
  EXPECT_LT(e, 0.004);
}

TEST(LightMeasure, DoesNotDependOnTheUnitOfLight) {
  Drawn d, bright;
  bright.scale = 1e6;
  const auto a = measure_light(d, nullptr, 12, serial(), go_on),
             b = measure_light(bright, nullptr, 12, serial(), go_on);
  ASSERT_TRUE(a && b);
  for (size_t i = 0; i < a->frames[6].stops.size(); ++i)
    EXPECT_NEAR(a->frames[6].stops[i], b->frames[6].stops[i], 2e-3);
}

TEST(LightMeasure, GrainAndWhatPassesDoNotFoolIt) {
  Drawn d;
  d.grain = 0.04, d.occluder = true;
  const auto l = measure_light(d, nullptr, 12, serial(), go_on);
  ASSERT_TRUE(l);
  const double e = error(*l, d, kInner);
  std::printf("grain and a passing disc: %.4f RMS\n", e);
  EXPECT_LT(e, 0.015);
}

// A lamp in the middle of what is hidden on all but three frames: interpolating across would miss it altogether.
TEST(LightMeasure, LightsWhatIsHiddenByWhatOtherFramesShow) {
  Drawn d;
  d.hidden = {80, 40, 190, 140};
  const auto l = measure_light(d, nullptr, 12, serial(), go_on);
  ASSERT_TRUE(l);
  const Rect middle{110, 70, 160, 115};
  double unlit = 0;
  int count = 0;
  for (int f = 1; f <= kLast; ++f)
    for (int y = middle.y0; y < middle.y1; y += 3)
      for (int x = middle.x0; x < middle.x1; x += 3, ++count)
        unlit += std::pow(std::exp2(-truth(x, y, f, d.own)) - 1, 2);
  const double e = error(*l, d, middle);
  std::printf("hidden middle: %.4f RMS, without light %.4f\n", e, std::sqrt(unlit / count));
  EXPECT_LT(e, 0.02);
  EXPECT_LT(e, 0.35 * std::sqrt(unlit / count));
}

TEST(LightMeasure, FollowsTheMotion) {
  Drawn d;
  d.shift = 1.5, d.hidden = {80, 40, 150, 140};
  const Motion m = d.motion();
  const auto l = measure_light(d, &m, 12, serial(), go_on);
  ASSERT_TRUE(l);
  const double e = error(*l, d, {40, 10, kW - 10, 40});
  std::printf("camera moves: %.4f RMS\n", e);
  EXPECT_LT(e, 0.006);
}

// Where a hidden frame lies is known by others only: it tells no more of the light than a lost one.
TEST(LightMeasure, HiddenFramesAreNotAsked) {
  Drawn d;
  d.shift = 1.5, d.hidden = {80, 40, 150, 140};
  Motion m = d.motion();
  m.poses[2].status = TrackStatus::lost;
  const auto lost = measure_light(d, &m, 12, serial(), go_on);
  m.poses[2].status = TrackStatus::hidden, m.poses[2].frame_from_ref = translation(9, 9);
  const auto hidden = measure_light(d, &m, 12, serial(), go_on);
  ASSERT_TRUE(lost && hidden);
  EXPECT_EQ(hidden->frames[2].seen_share, 0);
  for (size_t i = 0; i < lost->frames.size(); ++i) EXPECT_EQ(hidden->frames[i].stops, lost->frames[i].stops) << i;
}

TEST(LightMeasure, LightningIsOnItsFrameAlone) {
  Drawn d;
  d.flash = 2;
  const auto l = measure_light(d, nullptr, 12, serial(), go_on);
  ASSERT_TRUE(l);
  std::array<float, 3> s;
  for (int f : {4, 5, 6}) {
    l->at(l->frames[f - 1], 100, 80, s);
    EXPECT_NEAR(s[1] - truth(100, 80, f, d.own), f == 5 ? 2 : 0, 0.03) << f;
  }
}

TEST(LightMeasure, OneFrameIsEnough) {
  Drawn d;
  d.last_frame = 1;
  const auto l = measure_light(d, nullptr, 12, serial(), go_on);
  ASSERT_TRUE(l);
  EXPECT_LT(error(*l, d, kInner), 0.01);
}

TEST(LightMeasure, NothingToSeeIsNoLight) {
  Drawn d;
  d.all_hidden = true;
  EXPECT_FALSE(measure_light(d, nullptr, 12, serial(), go_on));
  Drawn black;
  black.scale = 0;
  EXPECT_FALSE(measure_light(black, nullptr, 12, serial(), go_on));
}

TEST(LightMeasure, AFrameThatShowsNothingLiesBetweenItsNeighbours) {
  Drawn d;
  d.blind = 6;
  const auto l = measure_light(d, nullptr, 12, serial(), go_on);
  ASSERT_TRUE(l);
  EXPECT_EQ(l->frames[5].seen_share, 0);
  std::array<float, 3> before, here, after;
  l->at(l->frames[4], 60, 40, before), l->at(l->frames[5], 60, 40, here), l->at(l->frames[6], 60, 40, after);
  EXPECT_NEAR(here[1], (before[1] + after[1]) / 2, 0.02);
}

TEST(LightMeasure, StopsWhenAsked) {
  EXPECT_FALSE(measure_light(Drawn{}, nullptr, 12, serial(), [](int done, int) { return done < 3; }));
}

TEST(LightMeasure, AnyRunnerGivesTheSameBits) {
  const Drawn d;
  const auto two = arena(2);
  const auto a = measure_light(d, nullptr, 24, serial(), go_on), b = measure_light(d, nullptr, 24, *two, go_on);
  ASSERT_TRUE(a && b);
  for (size_t f = 0; f < a->frames.size(); ++f) EXPECT_EQ(a->frames[f].stops, b->frames[f].stops);
}

TEST(Relit, MultipliesAndLeavesAlpha) {
  Light l = Light::grid(8, 8, 8);
  l.frames.push_back({3, std::vector<float>(3 * l.columns * l.rows, 1.f), 1});
  const float value[4] = {0.2f, 0.4f, 0.1f, 0.5f};
  const Picture p = Canvas::filled(Rect::sized(8, 8), 4, value).finish();
  const Picture q = relit(p, l, 3, 1, 1, Rect::sized(8, 8)), half = relit(p, l, 3, 0.5, 1, Rect::sized(8, 8));
  EXPECT_NEAR(q.at(4, 4)[0], 0.4, 1e-6);
  EXPECT_NEAR(half.at(4, 4)[1], 0.4 * std::sqrt(2), 1e-6);
  EXPECT_EQ(q.at(4, 4)[3], 0.5f);
  EXPECT_TRUE(same_bits(relit(p, l, 4, 1, 1, Rect::sized(8, 8)), p)) << "a frame it does not know";
  EXPECT_TRUE(same_bits(relit(p, l, 3, 0, 1, Rect::sized(8, 8)), p));
}

TEST(Relit, UndoesWhatWasMeasured) {
  Drawn d;
  const auto l = measure_light(d, nullptr, 12, serial(), go_on);
  ASSERT_TRUE(l);
  const Picture lit = relit(d.still(3), *l, 3, 1, 1, kInner), wanted = d.plate(3);
  for (int y = kInner.y0; y < kInner.y1; y += 5)
    for (int x = kInner.x0; x < kInner.x1; x += 5)
      EXPECT_NEAR(lit.at(x, y)[1] / wanted.at(x, y)[1], 1, 0.02) << x << " " << y;
}

}  // namespace pw::light_measure_test
