#include "base/outline.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <climits>
#include <cmath>

#include "drawn_shapes.h"

namespace pw::outline_test {

TEST(Outline, KeysComeBackAndEndsAreHeld) {
  const Outline o({{10, {{kite({0, 0})}}}, {20, {{kite({100, 40})}}}});
  for (auto [t, at] : {std::pair{10., Point(0, 0)}, {20., Point(100, 40)}, {-5., Point(0, 0)}, {99., Point(100, 40)}}) {
    const Shape s = o.at(t);
    ASSERT_EQ(s.contours.size(), 1u);
    for (size_t i = 0; i < 5; ++i) EXPECT_LT((s.contours[0].knots[i].at - kite(at).knots[i].at).norm(), 1e-12);
  }
  EXPECT_LT((o.at(15).contours[0].knots[0].at - Point(50, 20)).norm(), 1e-12);
}

TEST(Outline, SmoothFollowsAParabolaThroughUnevenKeys) {
  const auto place = [](double t) { return Point(3 * t + 0.5 * t * t, 200 - 4 * t + 0.2 * t * t); };
  std::map<int, Shape> keys;
  for (int f : {1, 5, 8, 14, 20}) keys[f] = {{kite(place(f))}};
  const Outline smooth(keys), linear(keys, Between::linear);
  double smooth_error = 0, linear_error = 0;
  for (double t = 5; t <= 14; t += 0.25) {  // Both neighbours known.
    smooth_error = std::max(smooth_error, (smooth.at(t).contours[0].knots[0].at - place(t)).norm());
    linear_error = std::max(linear_error, (linear.at(t).contours[0].knots[0].at - place(t)).norm());
  }
  EXPECT_LT(smooth_error, 1e-9);
  EXPECT_GT(linear_error, 1);
}

TEST(Outline, WhatRestsBetweenKeysStaysAtRest) {
  const Outline o({{1, {{kite({0, 0})}}}, {10, {{kite({50, 0})}}}, {20, {{kite({50, 0})}}}, {30, {{kite({200, 0})}}}});
  for (double t = 10; t <= 20; t += 0.5)
    EXPECT_LT((o.at(t).contours[0].knots[2].at - kite({50, 0}).knots[2].at).norm(), 1e-12);
}

TEST(Outline, AnEmptyKeyEndsTheShapeUntilTheNext) {
  const Outline o({{1, {{kite({0, 0})}}}, {10, {}}, {20, {{kite({9, 9})}}}, {30, {}}});
  EXPECT_EQ(o.at(9).contours.size(), 1u);
  EXPECT_EQ(o.at(9.4).contours.size(), 1u);  // Frame 9's shutter.
  EXPECT_EQ(o.at(9.6).contours.size(), 0u);  // Frame 10's.
  EXPECT_EQ(o.at(9.6, 9).contours.size(), 1u);
  EXPECT_EQ(o.at(10).contours.size(), 0u);
  EXPECT_EQ(o.at(19).contours.size(), 0u);
  EXPECT_EQ(o.at(19.5).contours.size(), 1u);
  EXPECT_EQ(o.at(29).contours.size(), 1u);
  EXPECT_EQ(o.at(1000).contours.size(), 0u);
  EXPECT_EQ(o.at(-1000).contours.size(), 1u);
}

TEST(Outline, AShapeThatStartsEmptyIsAbsentBeforeItsFirstDrawing) {
  const Outline o({{1, {}}, {5, {{kite({0, 0})}}}});
  EXPECT_TRUE(o.at(-3).empty());
  EXPECT_TRUE(o.at(4).empty());
  EXPECT_FALSE(o.at(5).empty());
}

TEST(Outline, AContourMayComeAndGo) {
  const Contour a = kite({0, 0}), b = kite({500, 0});
  const Outline o({{1, {{a}}}, {10, {{b, a}}}, {20, {{a}}}});  // b first: told apart by place.
  EXPECT_EQ(o.at(5).contours.size(), 1u);
  EXPECT_EQ(o.at(12).contours.size(), 2u);
  EXPECT_EQ(o.at(20).contours.size(), 1u);
  EXPECT_LT(apart(o.at(5).contours[0], a), 1e-9);
  EXPECT_LT(apart(o.at(20).contours[0], a), 1e-9);
  EXPECT_LT(apart(o.at(15).contours[1], b), 1e-9);
}

TEST(Outline, NothingAtAll) {
  EXPECT_TRUE(Outline().at(3).empty());
  EXPECT_TRUE(Outline({{3, {{Contour{}, polygon(std::vector<Point>{{1, 1}})}}}}).at(3).empty());
  EXPECT_TRUE(Outline().covers(3));
}

Motion skewing(int first, int last) {
  Motion m{960, 540, 1, {{100, 100}, {800, 100}, {800, 400}, {100, 400}}, {}};
  for (int f = first; f <= last; ++f) {
    Pose p;
    p.frame = f;
    Matrix3 h;
    h << 1 + 0.002 * f, 0.001 * f, 3.0 * f, -0.001 * f, 1 - 0.001 * f, 1.5 * f, 1e-5 * f, -5e-6 * f, 1;
    p.frame_from_ref = h;
    m.poses.push_back(p);
  }
  return m;
}

TEST(OutlineCarried, OneKeyRidesOnAPlane) {
  const Motion m = skewing(0, 40);
  const Contour drawn = ellipse({400, 250}, 200, 120);
  const auto o = Outline::carried({{10, {{drawn}}}}, m);
  ASSERT_TRUE(o);
  EXPECT_LT(apart(o->at(10).contours[0], drawn), 3e-3);  // That of the chords compared with.
  for (double t : {0.0, 17.5, 40.0}) {
    const Matrix3 h = *m.between(t, 10);
    const Contour c = o->at(t).contours[0];
    double worst = 0;
    for (size_t i = 0; i < c.knots.size(); ++i)
      for (double u : {0.0, 0.25, 0.5, 0.75}) {
        const Point p = map(Matrix3(h.inverse()), at(segment(c, i), u)) - Point(400, 250);
        worst = std::max(worst, std::abs(std::hypot(p.x() / 200, p.y() / 120) - 1) * 120);
      }
    EXPECT_LT(worst, 0.02) << t;
  }
}

TEST(OutlineCarried, KeysAreCorrectionsOnTheRide) {
  const Motion m = skewing(0, 40);
  const Contour a = kite({300, 200});
  const Contour on_40 = mapped(a, *m.between(40, 10));
  const auto o = Outline::carried({{10, {{a}}}, {40, {{on_40}}}}, m);  // Says nothing the motion does not say.
  ASSERT_TRUE(o);
  EXPECT_LT(apart(o->at(25).contours[0], mapped(with_sides_below(a, 5), *m.between(25, 10))), 0.3);
}

TEST(OutlineCarried, AKeyWhereTheMotionIsNotKnownIsRefused) {
  Motion m = skewing(0, 20);
  m.poses[5].status = TrackStatus::lost;
  const auto o = Outline::carried({{3, {{kite({0, 0})}}}, {5, {{kite({0, 0})}}}, {60, {}}}, m);
  ASSERT_FALSE(o);
  ASSERT_EQ(o.error().size(), 2u);
  EXPECT_EQ(to_string(o.error()[0]),
            "frame 5: the outline has a key where the motion that carries it is lost; move the key to a frame where "
            "the motion "
            "is good, or draw the outline without it");
  const auto ok = Outline::carried({{3, {{kite({0, 0})}}}}, m);
  EXPECT_TRUE(ok->covers(3));
  EXPECT_FALSE(ok->covers(60));
  EXPECT_LT((ok->at(60).contours[0].knots[0].at - map(*m.between(20, 3), Point(0, 0))).norm(), 1e-9);
}

}  // namespace pw::outline_test
