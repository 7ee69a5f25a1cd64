#include "base/contour_match.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "base/outline.h"
#include "base/random.h"
#include "drawn_shapes.h"

namespace pw::contour_match_test {

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
  EXPECT_LT(apart(half.contours[0], polygon(middle)), 0.5);
  EXPECT_LT(apart(polygon(middle), half.contours[0]), 0.5);
}

// Exact, a million times larger, noisy: the same correspondence.
TEST(ContourMatch, HoldsAtAnyScaleAndUnderNoise) {
  for (const double scale : {1.0, 1e6, 1e-3})
    for (const double noise : {0.0, 1.5})
      for (const int shift : {0, 2}) {
        const Contour a = kite({0, 0}, scale);
        Contour b = kite(Point(150, 30) * scale, 1.2 * scale);
        const Contour truth = b;
        for (size_t i = 0; i < 5; ++i) {
          const auto [x, y] =
              gauss(random_bits(5, {uint32_t(i), 0, 0, 0})[0], random_bits(5, {uint32_t(i), 0, 0, 0})[1]);
          b.knots[i].at += scale * noise * Point(x, y);
        }
        std::rotate(b.knots.begin(), b.knots.begin() + shift, b.knots.end());
        const std::vector<Contour> c = conformed(std::vector<Contour>{a, reversed(b)});
        for (size_t i = 0; i < 5; ++i)
          EXPECT_LT((c[1].knots[i].at - truth.knots[i].at).norm(), scale * (1e-9 + 5 * noise)) << scale << " " << noise;
        // With other numbers of knots: the same curves, cut alike.
        const std::vector<Contour> d = conformed(std::vector<Contour>{a, with_sides_below(b, 25 * scale)});
        ASSERT_EQ(d[0].knots.size(), d[1].knots.size());
        EXPECT_NEAR(signed_area(d[0]), signed_area(a), 1e-6 * scale * scale);
        EXPECT_NEAR(signed_area(d[1]), signed_area(b), 1e-6 * scale * scale);
        for (size_t i = 0; i < d[0].knots.size(); ++i) {
          const Point moved = Point(150, 30) * scale + 1.2 * d[0].knots[i].at;
          // Corner on corner; in between they may slide along a side, since position counts and not size.
          EXPECT_LT((d[1].knots[i].at - moved).norm(), scale * (8 + 5 * noise)) << scale << " " << noise;
        }
      }
}

TEST(ContourMatch, DegenerateDrawingsDoNotFail) {
  const Point p(3, 4);
  const Contour point{{{p, p, p}, {p, p, p}}}, line = polygon(std::vector<Point>{{0, 0}, {9, 0}});
  const Contour flat = polygon(std::vector<Point>{{0, 0}, {9, 0}, {5, 0}});
  for (const Contour& a : {point, line, flat, kite({0, 0})})
    for (const Contour& b : {point, line, flat, kite({0, 0})}) {
      const std::vector<Contour> c = conformed(std::vector<Contour>{a, b});
      EXPECT_EQ(c[0].knots.size(), c[1].knots.size());
      for (const Contour& one : c)
        for (const Knot& k : one.knots) EXPECT_TRUE(k.at.allFinite() && k.in.allFinite() && k.out.allFinite());
    }
  EXPECT_TRUE(conformed({}).empty());
  EXPECT_EQ(conformed(std::vector<Contour>{line})[0].knots.size(), 2u);
}

}  // namespace pw::contour_match_test
