#include "comp/repair/together.h"

#include <gtest/gtest.h>

#include <cmath>

#include "base/random.h"

namespace pw::together_test {

// A smooth scene that can be asked for anywhere.
float scene(double x, double y, int k) { return float(0.5 + 0.3 * std::sin(0.21 * x + k) * std::cos(0.17 * y - k)); }

Picture taken(const Rect& r, double dx, double dy) {
  Canvas c(r, 3);
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x)
      for (int k = 0; k < 3; ++k) c.at(x, y)[k] = scene(x + 0.5 + dx, y + 0.5 + dy, k);
  return std::move(c).finish();
}

Picture block(const Rect& window, const Rect& hidden) {
  Canvas c = Canvas::clear(window, 1);
  for (int y = hidden.y0; y < hidden.y1; ++y)
    for (int x = hidden.x0; x < hidden.x1; ++x) *c.at(x, y) = 1;
  return std::move(c).finish();
}

const Rect kPlate = Rect::sized(80, 60);

TEST(Together, OneViewKeepsItsBits) {
  const Picture p = taken(kPlate, 0, 0);
  for (Merge merge : {Merge::sharpest, Merge::median}) {
    const Together t = bring_together({{p, {}, Matrix3::Identity()}}, kPlate, kPlate, merge, 8, serial());
    EXPECT_EQ(t.uncovered_share, 0);
    for (int y = 0; y < 60; ++y)
      for (int x = 0; x < 80; ++x) {
        for (int k = 0; k < 3; ++k) ASSERT_EQ(t.picture.at(x, y)[k], p.at(x, y)[k]);
        ASSERT_EQ(t.picture.at(x, y)[3], 1.f);
      }
  }
}

TEST(Together, WhatOneHidesTheOtherShows) {
  // The second view is 7.25 px further left: its pixel x shows what the first has at x - 7.25 + 7.25.
  const Matrix3 h = translation(-7.25, 3.5);
  const View a{taken(kPlate, 0, 0), block(kPlate, {20, 15, 40, 35}), Matrix3::Identity()};
  const View b{taken(kPlate, -7.25, 3.5), {}, h};
  for (Merge merge : {Merge::sharpest, Merge::median}) {
    const Together t = bring_together({a, b}, kPlate, kPlate, merge, 4, serial());
    EXPECT_EQ(t.uncovered_share, 0);
    for (int y = 2; y < 58; ++y)
      for (int x = 2; x < 70; ++x)
        for (int k = 0; k < 3; ++k)
          ASSERT_NEAR(t.picture.at(x, y)[k], scene(x + 0.5, y + 0.5, k), 0.004) << x << "," << y;
  }
}

TEST(Together, WhatNoneShowsIsClearAndCounted) {
  const View a{taken(kPlate, 0, 0), block(kPlate, {20, 15, 40, 35}), Matrix3::Identity()};
  const Together t = bring_together({a}, kPlate, kPlate, Merge::sharpest, 4, serial());
  EXPECT_NEAR(t.uncovered_share, 400.0 / (80 * 60), 1e-9);
  EXPECT_EQ(t.picture.at(30, 25)[3], 0.f);
  EXPECT_EQ(t.picture.at(30, 25)[0], 0.f);
}

TEST(Together, TheWindowMayReachBeyondTheFirstView) {
  const View a{taken(kPlate, 0, 0), {}, Matrix3::Identity()};
  const View b{taken(kPlate, 30, 0), {}, translation(30, 0)};
  const Together t = bring_together({a, b}, {0, 0, 110, 60}, {0, 0, 110, 60}, Merge::sharpest, 4, serial());
  EXPECT_EQ(t.uncovered_share, 0);
  EXPECT_NEAR(t.picture.at(100, 30)[0], scene(100.5, 30.5, 0), 1e-5);
}

TEST(Together, TheMedianLeavesOutWhatIsThereInOneView) {
  std::vector<View> views;
  for (int i = 0; i < 3; ++i) views.push_back({taken(kPlate, 0, 0), {}, Matrix3::Identity()});
  Canvas marked = Canvas::copy(views[1].picture, kPlate);
  for (int k = 0; k < 3; ++k) marked.at(40, 30)[k] = 20;
  views[1].picture = std::move(marked).finish();
  const Together t = bring_together(views, kPlate, kPlate, Merge::median, 4, serial());
  EXPECT_EQ(t.picture.at(40, 30)[0], views[0].picture.at(40, 30)[0]);
}

TEST(Together, AnyRunnerGivesTheSameBits) {
  const View a{taken(kPlate, 0, 0), block(kPlate, {20, 15, 40, 35}), Matrix3::Identity()};
  const View b{taken(kPlate, -7.25, 3.5), {}, translation(-7.25, 3.5)};
  const auto two = arena(2), mixed = shuffled(9);
  for (Merge merge : {Merge::sharpest, Merge::median}) {
    const Picture one = bring_together({a, b}, kPlate, kPlate, merge, 4, serial()).picture;
    EXPECT_TRUE(same_bits(one, bring_together({a, b}, kPlate, kPlate, merge, 4, *two).picture));
    EXPECT_TRUE(same_bits(one, bring_together({a, b}, kPlate, kPlate, merge, 4, *mixed).picture));
  }
}

TEST(Together, SmearIsTheWayOfTheFastestCorner) {
  Motion m{80, 60, 1, {{10, 10}, {70, 10}, {70, 50}, {10, 50}}, {}};
  for (int f = 1; f <= 6; ++f) {
    Pose p;
    p.frame = f;
    p.frame_from_ref = translation(4.0 * f, 3.0 * f);
    m.poses.push_back(p);
  }
  EXPECT_NEAR(smear_px(m, 3, 180), 2.5, 1e-9);  // 5 px a frame, open for half of it.
  EXPECT_NEAR(smear_px(m, 3, 360), 5, 1e-9);
  EXPECT_EQ(smear_px(m, 3, 0), 0);
}

}  // namespace pw::together_test
