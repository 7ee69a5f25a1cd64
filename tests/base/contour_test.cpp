#include "base/contour.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace pw::contour_test {

constexpr double kPi = std::numbers::pi;

TEST(Contour, EllipseHasTheAreaOfAnEllipse) {
  const Contour c = ellipse({100, 50}, 40, 20);
  // Eight cubics: the radius is too large by at most 4e-6 of itself, and by less in the mean.
  EXPECT_NEAR(signed_area(c), kPi * 40 * 20, kPi * 40 * 20 * 8e-6);
  EXPECT_NEAR(signed_area(reversed(c)), -signed_area(c), 1e-9);
  for (size_t i = 0; i < c.knots.size(); ++i)
    for (double t : {0.0, 0.2, 0.5, 0.7}) {
      const Point p = at(segment(c, i), t) - Point(100, 50);
      EXPECT_NEAR(std::hypot(p.x() / 40, p.y() / 20), 1, 5e-6);
    }
}

TEST(Contour, PolygonHasTheAreaOfAPolygon) {
  const Point corners[] = {{0, 0}, {10, 0}, {10, 6}, {4, 9}};
  EXPECT_NEAR(signed_area(polygon(corners)), signed_area(std::span<const Point>(corners)), 1e-12);
  EXPECT_EQ(bounds({{polygon(corners)}}), (Rect{0, 0, 10, 9}));
}

TEST(Contour, CuttingKeepsTheCurve) {
  const Contour c = ellipse({30, 20}, 25, 10);
  const std::vector<double> places{0.3, 1, 2, 2.5, 3, 4, 5, 6, 7, 8};  // 8 is knot 0.
  const Contour r = cut(c, places);
  ASSERT_EQ(r.knots.size(), places.size());
  EXPECT_NEAR(signed_area(r), signed_area(c), 1e-10);
  EXPECT_LT((r.knots[0].at - at(segment(c, 0), 0.3)).norm(), 1e-12);
  EXPECT_LT((r.knots.back().at - c.knots[0].at).norm(), 1e-12);
  EXPECT_LT((at(segment(r, 2), 0.5) - at(segment(c, 2), 0.25)).norm(), 1e-12);  // Place 2 to 2.5, half way.
}

TEST(Contour, CuttingAtItsOwnKnotsChangesNothing) {
  const Contour c = ellipse({30, 20}, 25, 10);
  const std::vector<double> places{3, 4, 5, 6, 7, 8, 9, 10};
  const Contour r = cut(c, places);
  for (size_t i = 0; i < 8; ++i) {
    EXPECT_EQ(r.knots[i].at, c.knots[(i + 3) % 8].at);
    EXPECT_LT((r.knots[i].in - c.knots[(i + 3) % 8].in).norm(), 1e-13);
    EXPECT_LT((r.knots[i].out - c.knots[(i + 3) % 8].out).norm(), 1e-13);
  }
}

TEST(Contour, ShortSidesFollowAPerspectiveMap) {
  Contour c;  // The two long curves an editor would be content with.
  c.knots = {{{180, 270}, {180, 540}, {180, 0}}, {{780, 270}, {780, 0}, {780, 540}}};
  Matrix3 h;
  h << 0.9, 0.1, 20, -0.05, 1.1, 10, 6e-4, 3e-4, 1;
  const auto error = [&](const Contour& drawn) {
    const Contour m = mapped(drawn, h);
    double worst = 0;
    for (size_t i = 0; i < drawn.knots.size(); ++i)
      for (double t = 0.1; t < 1; t += 0.1) {
        const Point truth = map(h, at(segment(drawn, i), t));
        double nearest = 1e9;
        for (double u = 0; u < 1; u += 0.002) {
          const Point a = at(segment(m, i), u), d = at(segment(m, i), u + 0.002) - a;
          nearest =
              std::min(nearest, (a + std::clamp((truth - a).dot(d) / d.squaredNorm(), 0.0, 1.0) * d - truth).norm());
        }
        worst = std::max(worst, nearest);
      }
    return worst;
  };
  EXPECT_GT(error(c), 0.5);
  EXPECT_LT(error(with_sides_below(c, 48)), 0.01);
  EXPECT_NEAR(signed_area(with_sides_below(c, 48)), signed_area(c), 1e-6);
}

TEST(Contour, NothingHasNoBounds) {
  EXPECT_TRUE(bounds({}).empty());
  EXPECT_TRUE(bounds({{Contour{}}}).empty());
  EXPECT_EQ(signed_area(Contour{}), 0);
}

}  // namespace pw::contour_test
