#include "track/align.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>

#include "tests/track/drawn.h"

namespace pw::align_test {

TEST(Align, CodeSlopeIsTheCurvesDerivative) {
  for (double v : {0.001, 0.01, 0.18, 0.9, 4.0}) {
    const double h = 1e-5 * v;
    EXPECT_NEAR(code_slope(float(v)), (drawn::encode(v + h) - drawn::encode(v - h)) / (2 * h),
                1e-4 * code_slope(float(v)));
  }
}

TEST(Align, BlockedGrows) {
  Canvas c = Canvas::clear(Rect::sized(20, 20), 1);
  *c.at(10, 8) = 1;
  const Blocked b(std::move(c).finish(), 2);
  EXPECT_TRUE(b.at({8.1, 6.1}));
  EXPECT_TRUE(b.at({12.9, 10.9}));
  EXPECT_FALSE(b.at({7.9, 8}));
  EXPECT_FALSE(b.at({10, 11.1}));
  EXPECT_FALSE(b.at({-100, 1e9}));
  EXPECT_FALSE(b.at({NAN, 3}));
}

// From a start some pixels away, coarse to fine, with a light of its own.
TEST(Align, ConvergesFromAfar) {
  drawn::Scene s;
  s.frame_from_plane = [](double t) { return drawn::handheld(2 * (t - 1)); };
  s.gain = [](int f, double, double) { return f == 2 ? 0.6 : 1.0; };
  const auto region = drawn::box(40, 30, 160, 130);
  const Reference reference(s.image(1), {}, region, serial());
  ASSERT_GE(reference.levels(), 3);
  const Picture image = s.image(2);
  const Pyramid p = pyramid(image, image.window(), 0, reference.levels() - 1, false, serial());
  Reference::Options o;
  o.from_level = reference.levels() - 1;
  for (const Point& off : {Point(0, 0), Point(4, -3), Point(-5, 2)}) {
    Alignment start;
    start.frame_from_ref = translation(off.x(), off.y()) * s.frame_from_ref(2, 1);
    const Alignment a = reference.align(p, {}, start, o, serial());
    EXPECT_TRUE(a.converged);
    EXPECT_GT(a.visible, 0.9);
    EXPECT_GT(a.agreement, 0.9);
    EXPECT_NEAR(a.light.all[0], 0.6, 0.02);
    for (const Point& c : region) EXPECT_LT((map(a.frame_from_ref, c) - map(s.frame_from_ref(2, 1), c)).norm(), 0.01);
    EXPECT_GT(weight_at(reference, a, {100, 80}), 0.5);
    EXPECT_EQ(weight_at(reference, a, {500, 80}), 0);
    const Eigen::MatrixXd cov = corner_covariance(reference, a);
    ASSERT_EQ(cov.rows(), 8);
    EXPECT_GT(cov.diagonal().minCoeff(), 0);
  }
}

}  // namespace pw::align_test
