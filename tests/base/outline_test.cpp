#include "base/outline.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <climits>
#include <cmath>

#include "base/contour_match.h"

namespace pw {
namespace {

// Lopsided, so that no turn maps it to itself.
Contour kite(const Point& at, double size = 1) {
  std::vector<Point> p{{0, 0}, {60, 10}, {80, 50}, {20, 90}, {-10, 40}};
  for (Point& q : p) q = at + size * q;
  return polygon(p);
}

double distance(const Point& p, const Point& a, const Point& b) {
  const double t = (b - a).squaredNorm() > 0 ? std::clamp((p - a).dot(b - a) / (b - a).squaredNorm(), 0.0, 1.0) : 0;
  return (a + t * (b - a) - p).norm();
}

// Farthest distance of points of `a` from the curve `b`, drawn with 100 chords a segment.
double apart(const Contour& a, const Contour& b) {
  double worst = 0;
  for (size_t i = 0; i < a.knots.size(); ++i)
    for (double t = 0; t < 1; t += 0.25) {
      const Point p = at(segment(a, i), t);
      double nearest = 1e9;
      for (size_t j = 0; j < b.knots.size(); ++j)
        for (int k = 0; k < 100; ++k)
          nearest = std::min(nearest, distance(p, at(segment(b, j), k / 100.0), at(segment(b, j), (k + 1) / 100.0)));
      worst = std::max(worst, nearest);
    }
  return worst;
}

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

TEST(ContourMatch, OrderDrawnIsKeptThroughHalfATurn) {
  // A square on its way round its centre: nearest corners would turn it back.
  const auto square = [](double degrees) {
    std::vector<Point> p;
    for (int i = 0; i < 4; ++i) {
      const double a = (degrees + 90 * i) * M_PI / 180;
      p.emplace_back(100 + 40 * std::cos(a), 100 + 40 * std::sin(a));
    }
    return polygon(p);
  };
  const std::vector<Contour> drawn{square(0), square(60), square(120)};
  const std::vector<Contour> c = conformed(drawn);
  for (size_t k = 0; k < 3; ++k)
    for (size_t i = 0; i < 4; ++i) EXPECT_EQ(c[k].knots[i].at, drawn[k].knots[i].at);
}

TEST(ContourMatch, AnotherStartAndDirectionAreFound) {
  const Contour a = kite({0, 0});
  for (int shift = 0; shift < 5; ++shift)
    for (bool turned : {false, true}) {
      Contour b = kite({150, 30}, 1.2);
      std::rotate(b.knots.begin(), b.knots.begin() + shift, b.knots.end());
      if (turned) b = reversed(b);
      const std::vector<Contour> c = conformed(std::vector<Contour>{a, b});
      ASSERT_EQ(c[1].knots.size(), 5u);
      for (size_t i = 0; i < 5; ++i)
        EXPECT_LT((c[1].knots[i].at - kite({150, 30}, 1.2).knots[i].at).norm(), 1e-12) << shift << turned;
      EXPECT_GT(signed_area(c[1]), 0);
    }
}

TEST(ContourMatch, DifferentNumbersOfKnotsKeepBothCurves) {
  const Contour a = kite({0, 0});
  Contour b = reversed(with_sides_below(kite({30, 10}), 25));  // The same outline, redrawn with many more knots.
  std::rotate(b.knots.begin(), b.knots.begin() + 7, b.knots.end());
  const std::vector<Contour> c = conformed(std::vector<Contour>{a, b, a});
  ASSERT_EQ(c[0].knots.size(), c[1].knots.size());
  EXPECT_GE(c[0].knots.size(), b.knots.size());
  EXPECT_LT(apart(c[0], a), 1e-9);
  EXPECT_LT(apart(a, c[0]), 0.3);
  EXPECT_LT(apart(c[1], b), 1e-9);
  EXPECT_NEAR(signed_area(c[0]), signed_area(a), 1e-6);
  EXPECT_NEAR(signed_area(c[1]), std::abs(signed_area(b)), 1e-6);
  // Knots correspond: each moved by (30, 10), up to the spacing at which curves are compared.
  for (size_t i = 0; i < c[0].knots.size(); ++i)
    EXPECT_LT((c[1].knots[i].at - c[0].knots[i].at - Point(30, 10)).norm(), 2.5);
}

TEST(ContourMatch, ARedrawnOutlineMovesWithoutWobble) {
  // A circle that moves and is redrawn with other knots: half way it is still that circle.
  const Contour a = ellipse({100, 100}, 50, 50);
  std::vector<double> places;
  for (int i = 0; i < 8; ++i) places.push_back(i + 0.0), places.push_back(i + 0.37);
  const Contour b = cut(ellipse({160, 100}, 50, 50), places);
  const Shape half = Outline({{1, {{a}}}, {9, {{b}}}}).at(5);
  for (size_t i = 0; i < half.contours[0].knots.size(); ++i)
    for (double t : {0.0, 0.5}) EXPECT_NEAR((at(segment(half.contours[0], i), t) - Point(130, 100)).norm(), 50, 0.2);
}

TEST(ContourMatch, AnArmIsRaisedAndTheRestStays) {
  // A body with an arm that grows by 60 px: the far side must not slide along itself.
  const std::vector<Point> down{{0, 0}, {40, 0}, {40, 30}, {50, 30}, {50, 40}, {40, 40}, {40, 200}, {0, 200}};
  std::vector<Point> up{{0, 0}, {40, 0}, {40, 30}, {110, 30}, {110, 40}, {40, 40}, {40, 100}, {40, 200}, {0, 200}};
  const Shape half = Outline({{1, {{polygon(down)}}}, {3, {{polygon(up)}}}}).at(2);
  const std::vector<Point> middle{{0, 0}, {40, 0}, {40, 30}, {80, 30}, {80, 40}, {40, 40}, {40, 200}, {0, 200}};
  EXPECT_LT(apart(half.contours[0], polygon(middle)), 3);
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

}  // namespace
}  // namespace pw
