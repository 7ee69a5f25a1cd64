#include "base/lens.h"

#include <gtest/gtest.h>

namespace pw::lens_test {

// The convention written out again, with nothing shared.
Point seen(double k1, double k2, double x, double y, double w, double h) {
  const double half = 0.5 * std::sqrt(w * w + h * h), u = (x - w / 2) / half, v = (y - h / 2) / half, q = u * u + v * v;
  return {w / 2 + (x - w / 2) * (1 + k1 * q + k2 * q * q), h / 2 + (y - h / 2) * (1 + k1 * q + k2 * q * q)};
}

TEST(Lens, ThereAndBackAtAnyScale) {
  for (const Lens lens : {Lens{-0.15, 0}, Lens{0.2, -0.03}, Lens{-0.2, 0.06}, Lens{0, 0.1}, Lens{0, 0}})
    for (double scale : {1.0, 1e6, 1e-3})
      for (const Point& p : {Point(0.01, 0.02), Point(100, 80), Point(320, 240), Point(630, 11), Point(-20, 500)}) {
        const double w = 640 * scale, h = 480 * scale;
        const Point ideal = p * scale, s = *seen_from_ideal(lens, ideal, w, h);
        EXPECT_LT((s - seen(lens.k1, lens.k2, ideal.x(), ideal.y(), w, h)).norm(), 1e-12 * w);
        const auto back = ideal_from_seen(lens, s, w, h);
        ASSERT_TRUE(back);
        EXPECT_LT((*back - ideal).norm(), 1e-12 * w);
      }
}

TEST(Lens, DerivativeIsThatOfFiniteDifferences) {
  for (const Lens lens : {Lens{-0.15, 0}, Lens{0.2, -0.03}})
    for (const Point& p : {Point(100, 80), Point(320, 240), Point(630, 11)}) {
      const Eigen::Matrix2d j = jacobian(lens, p, 640, 480);
      const double e = 1e-4;
      for (int k = 0; k < 2; ++k) {
        Point d(0, 0);
        d[k] = e;
        const Point finite =
            (*seen_from_ideal(lens, p + d, 640, 480) - *seen_from_ideal(lens, p - d, 640, 480)) / (2 * e);
        EXPECT_LT((finite - j.col(k)).norm(), 1e-8);
      }
    }
}

TEST(Lens, SaysWhereNothingIsSeen) {
  // r (1 - 0.5 r^2) turns back at r = sqrt(2 / 3), where it is 0.544 of the half diagonal: 217.7 of 400 pixels.
  const Lens strong{-0.5, 0};
  EXPECT_FALSE(covers_picture(strong));
  EXPECT_TRUE(ideal_from_seen(strong, {320 + 217, 240}, 640, 480));
  EXPECT_FALSE(ideal_from_seen(strong, {320 + 218, 240}, 640, 480));
  EXPECT_FALSE(ideal_from_seen({-0.1, 0}, {NAN, 0}, 640, 480));
  EXPECT_FALSE(ideal_from_seen({-0.1, 0}, {1e30, 0}, 640, 480));
  EXPECT_TRUE(seen_from_ideal(strong, {320 + 326, 240}, 640, 480));
  EXPECT_FALSE(seen_from_ideal(strong, {320 + 327, 240}, 640, 480));
  EXPECT_TRUE(covers_picture({-0.15, 0}));
  EXPECT_TRUE(covers_picture({0.3, 0}));
  EXPECT_FALSE(covers_picture({NAN, 0}));
}

}  // namespace pw::lens_test
