#include "track/held.h"

#include <gtest/gtest.h>

#include <cmath>

#include "tests/track/drawn.h"

namespace pw::held_test {

const std::vector<Point> kRegion{{40, 30}, {120, 34}, {118, 110}, {44, 112}};

// A plane that goes `speed` px to the right in every frame and a little up.
drawn::Scene moving(double speed) {
  drawn::Scene s;
  s.fine = 1;
  s.frame_from_plane = [speed](double t) {
    Matrix3 h = translation(speed * (t - 1), -0.7 * (t - 1));
    h(2, 0) = 1e-5 * (t - 1);
    return h;
  };
  return s;
}

// Root of the mean squared difference inside the region, enlarged `gain` times.
double unlike_rms(const Motion& m, const Picture& picture, int f, const Picture& reference, double shutter = 0,
                  double gain = 1) {
  const HeldRegion region(m, shutter, 400);
  const auto a = region.hold(picture, f), r = region.hold(reference, m.reference);
  const Picture d = region.unlike(*a, *r, gain);
  double sum = 0;
  int n = 0;
  for (int y = 10; y < 70; ++y)
    for (int x = 10; x < 70; ++x) sum += std::pow(*d.at(x, y) - 0.5, 2), ++n;
  return std::sqrt(sum / n);
}

TEST(Held, ThroughALensEachPlaceIsWhereTheLensShowsIt) {
  Motion m{200, 160, 1, kRegion, {{1}, {2, translation(20, 6)}}, {.k1 = -0.15}};
  Canvas ramps(Rect::sized(200, 160), 3);  // Each pixel tells its place.
  for (int y = 0; y < 160; ++y)
    for (int x = 0; x < 200; ++x) ramps.at(x, y)[0] = float(x + 0.5), ramps.at(x, y)[1] = float(y + 0.5);
  const HeldRegion region(m, 0, 400);
  const auto held = region.hold(std::move(ramps).finish(), 2);
  ASSERT_TRUE(held);
  const double left = 40 - 4.1, top = 30 - 4.1;  // The region's box and a twentieth of its longer side, 82 px.
  double bent = 0;
  for (int y = 5; y < 85; y += 16)
    for (int x = 5; x < 80; x += 15) {
      const Point p(x + 0.5 + left, y + 0.5 + top);
      const Point there = *ideal_from_seen(m.lens, p, 200, 160) + Point(20, 6);
      const Point want = *seen_from_ideal(m.lens, there, 200, 160);
      EXPECT_NEAR(held->picture.at(x, y)[0], want.x(), 0.05) << x << " " << y;
      EXPECT_NEAR(held->picture.at(x, y)[1], want.y(), 0.05) << x << " " << y;
      bent = std::max(bent, (want - p - Point(20, 6)).norm());
    }
  EXPECT_GT(bent, 1);
}

TEST(Held, ARightTrackIsGreyAndAWrongOneIsNot) {
  const drawn::Scene s = moving(3.3);
  const Motion m = s.truth(2, kRegion);
  Motion off = m;
  off.poses[3].frame_from_ref = translation(0.5, 0) * off.poses[3].frame_from_ref;
  const Picture four = s.image(4), two = s.image(2);
  const double right = unlike_rms(m, four, 4, two), wrong = unlike_rms(off, four, 4, two);
  EXPECT_LT(right, 0.01);
  EXPECT_GT(wrong, 3 * right);
  EXPECT_NEAR(unlike_rms(off, four, 4, two, 0, 4), 4 * wrong, 1e-6);
  EXPECT_EQ(unlike_rms(m, two, 2, two), 0);
}

// The reference stands at the end of a motion that is faster on frame 3: only the smear differs.
TEST(Held, SmearIsNoDifference) {
  drawn::Scene s = moving(0);
  s.shutter = 360;
  s.frame_from_plane = [](double t) { return translation(2.5 * (t - 1) * (t - 1), 0); };
  const Motion m = s.truth(1, kRegion);
  Motion off = m;
  off.poses[2].frame_from_ref = translation(0, 1) * off.poses[2].frame_from_ref;
  const Picture three = s.image(3), one = s.image(1);
  const double matched = unlike_rms(m, three, 3, one, 360);
  EXPECT_LT(matched, 0.4 * unlike_rms(m, three, 3, one, 0));
  EXPECT_LT(matched, 0.5 * unlike_rms(off, three, 3, one, 360));
}

TEST(Held, LightIsNoDifference) {
  drawn::Scene s = moving(3);
  s.gain = [](int frame, double, double) { return frame == 3 ? 0.6 : 1; };
  EXPECT_LT(unlike_rms(s.truth(1, kRegion), s.image(3), 3, s.image(1)), 0.01);
}

TEST(Held, WhatTheFrameDoesNotShowIsClear) {
  const drawn::Scene s = moving(40);
  const Motion m = s.truth(1, kRegion);  // In frame 4 the right half is outside.
  const HeldRegion region(m, 0, 400);
  EXPECT_EQ(region.window(), Rect::sized(88, 90));  // 80 x 82 and 4.1 around.
  const auto a = region.hold(s.image(4), 4), r = region.hold(s.image(1), 1);
  const Picture p = region.shown(*a), d = region.unlike(*a, *r, 1);
  EXPECT_GT(p.at(10, 40)[1], 0);
  EXPECT_EQ(p.at(85, 40)[1], 0);
  EXPECT_EQ(*d.at(85, 40), 0);
  EXPECT_EQ(*d.at(1, 1), 0.25f);  // Around the region.
  EXPECT_NEAR(*d.at(20, 40), 0.5, 0.1);
}

TEST(Held, LargeRegionsAreShownSmall) {
  const drawn::Scene s = moving(3);
  const Motion m = s.truth(1, kRegion);
  const HeldRegion region(m, 0, 45);
  EXPECT_EQ(region.window(), Rect::sized(44, 45));
  EXPECT_EQ(region.hold(s.image(1), 1)->picture.window(), region.window());
}

TEST(Held, LostFramesAreNotHeld) {
  const drawn::Scene s = moving(3);
  Motion m = s.truth(1, kRegion);
  m.poses[1].status = TrackStatus::lost;
  const HeldRegion region(m, 180, 100);
  EXPECT_FALSE(region.hold(s.image(2), 2));
  EXPECT_FALSE(region.hold(s.image(2), 9));
  m.poses.erase(m.poses.begin());
  EXPECT_TRUE(region.hold(s.image(1), 1));  // The reference needs no pose.
}

TEST(Held, DegenerateRegionsAndPosesDoNoHarm) {
  const drawn::Scene s = moving(3);
  Motion m = s.truth(1, kRegion);
  m.region.assign(4, {50, 50});
  m.poses[2].frame_from_ref << 0, 0, 0, 0, 0, 0, 0, 0, 1;
  const HeldRegion region(m, 180, 100);
  EXPECT_EQ(region.window(), Rect::sized(1, 1));
  const auto r = region.hold(s.image(1), 1);
  for (int f : {2, 3}) {
    const auto a = region.hold(s.image(f), f);
    ASSERT_TRUE(a);
    EXPECT_TRUE(std::isfinite(*region.unlike(*a, *r, 4).at(0, 0)));
  }
}

}  // namespace pw::held_test
