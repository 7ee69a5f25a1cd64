#include "base/transform.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <vector>

#include "base/random.h"

namespace pw::transform_test {

const Matrix3 kTilted = (Matrix3() << 1.1, 0.2, 30, -0.1, 0.9, 12, 3e-4, -2e-4, 1).finished();

// Worked by hand for the unit square; the method is P. Heckbert, Fundamentals of Texture Mapping and Image Warping,
// UCB/CSD 89/516, 1989 (from memory); values derived.
TEST(Transform, HomographyHandExamples) {
  const Quad unit{Point(0, 0), Point(1, 0), Point(1, 1), Point(0, 1)};
  const auto a = homography(unit, {Point(0, 0), Point(4, 0), Point(3, 2), Point(1, 2)});
  ASSERT_TRUE(a);
  EXPECT_TRUE(a->isApprox((Matrix3() << 4, 2, 0, 0, 4, 0, 0, 1, 1).finished(), 1e-12)) << *a;
  EXPECT_TRUE(map(*a, {0.5, 0.5}).isApprox(Point(2, 4.0 / 3), 1e-12));
  const auto b = homography(unit, {Point(10, 20), Point(110, 30), Point(100, 140), Point(0, 120)});
  ASSERT_TRUE(b);
  EXPECT_TRUE(b->isApprox(
      (Matrix3() << 2525.0 / 28, -10, 10, 205.0 / 28, 1385.0 / 14, 20, -5.0 / 56, -1.0 / 112, 1).finished(), 1e-12));
  EXPECT_TRUE(map(*b, {0.5, 0.5}).isApprox(Point(3740.0 / 71, 5460.0 / 71), 1e-12));
}

std::vector<Point> scatter(int n, double scale) {
  std::vector<Point> p;
  for (int i = 0; i < n; ++i) {
    const RandomBits b = random_bits(5, 0, i, n);
    p.push_back(scale * Point(uniform(b[0]) * 640, uniform(b[1]) * 480));
  }
  return p;
}

TEST(Transform, DirectLinearTransformExactAndScaled) {
  for (double scale : {1.0, 1e6, 1e-6})
    for (int n : {4, 5, 20, 300}) {
      const auto from = scatter(n, scale);
      const Matrix3 h = scaling(scale, scale) * kTilted * scaling(1 / scale, 1 / scale);
      std::vector<Point> to;
      for (const Point& p : from) to.push_back(map(h, p));
      const auto got = homography(from, to);
      ASSERT_TRUE(got) << n << " " << scale;
      for (const Point& p : from) EXPECT_LT((map(*got, p) - map(h, p)).norm(), 1e-7 * scale * 640);
    }
}

TEST(Transform, DirectLinearTransformNoisy) {
  const auto from = scatter(300, 1);
  std::vector<Point> to;
  for (size_t i = 0; i < from.size(); ++i) {
    const RandomBits b = random_bits(6, 0, int(i), 0);
    const auto g = gauss(b[0], b[1]);
    to.push_back(map(kTilted, from[i]) + 0.5 * Point(g[0], g[1]));
  }
  const auto got = homography(from, to);
  ASSERT_TRUE(got);
  EXPECT_LT((map(*got, {320, 240}) - map(kTilted, {320, 240})).norm(), 0.15);
}

TEST(Transform, FourPointsAsLeastSquaresHasThem) {
  const auto from = scatter(400, 1), to = scatter(401, 1);
  int found = 0;
  for (int i = 0; i + 4 <= 400; i += 4) {
    const Quad a{from[i], from[i + 1], from[i + 2], from[i + 3]}, b{to[i], to[i + 1], to[i + 2], to[i + 3]};
    const auto exact = homography(a, b);
    if (!exact) continue;
    ++found;
    for (int k = 0; k < 4; ++k) EXPECT_LT((map(*exact, a[k]) - b[k]).norm(), 1e-8) << i;
    const auto least = homography(std::span<const Point>(a), std::span<const Point>(b));
    ASSERT_TRUE(least) << i;
    EXPECT_LT((*exact - *least).norm(), 1e-8 * least->norm()) << i;
  }
  EXPECT_EQ(found, 100);
}

TEST(Transform, DegenerateGivesNone) {
  std::vector<Point> line, spot(8, Point(3, 4));
  for (int i = 0; i < 8; ++i) line.push_back(Point(i, 2 * i));
  const auto good = scatter(8, 1);
  EXPECT_FALSE(homography(line, good));
  EXPECT_FALSE(homography(good, spot));
  EXPECT_FALSE(homography(std::span(good).first(3), std::span(good).first(3)));
  EXPECT_FALSE(homography(Quad{Point(0, 0), Point(1, 0), Point(2, 0), Point(0, 1)},
                          Quad{Point(0, 0), Point(1, 0), Point(1, 1), Point(0, 1)}));
}

TEST(Transform, JacobianIsTheDerivative) {
  const double e = 1e-5;
  for (const Point& p : scatter(10, 1)) {
    const Eigen::Matrix2d j = jacobian(kTilted, p);
    for (int k = 0; k < 2; ++k) {
      Point d(0, 0);
      d(k) = e;
      EXPECT_LT(((map(kTilted, p + d) - map(kTilted, p - d)) / (2 * e) - j.col(k)).norm(), 1e-7);
    }
  }
}

TEST(Transform, PixelCentres) {
  // A half-size reduction: the centre of the top-left pair of pixels (1,1) becomes (0.5,0.5), the centre of pixel 0.
  const Matrix3 half = to_pixel_centres(scaling(0.5, 0.5));
  EXPECT_TRUE(map(half, {0.5, 0.5}).isApprox(Point(0, 0) + Point(0, 0)));
  EXPECT_TRUE(from_pixel_centres(to_pixel_centres(kTilted)).isApprox(kTilted, 1e-12));
}

TEST(Transform, MappedBounds) {
  EXPECT_EQ(*mapped_bounds(scaling(2, 3), {1, 1, 4, 2}), (Rect{2, 3, 8, 6}));
  EXPECT_EQ(*mapped_bounds(translation(0.5, -0.5), {0, 0, 2, 2}), (Rect{0, -1, 3, 2}));
  const Matrix3 horizon = (Matrix3() << 1, 0, 0, 0, 1, 0, 0, 0.01, -1).finished();
  EXPECT_FALSE(mapped_bounds(horizon, {0, 50, 10, 150}));
}

// The image of the unit square under x -> (2x + 1) / (x + 3) keeps the cross-ratio of four points on a line: 0, 1, 2, 3
// have 4/3.
TEST(Transform, CrossRatioIsKept) {
  const Matrix3 h = (Matrix3() << 2, 0, 1, 0, 1, 0, 1, 0, 3).finished();
  auto x = [&](double v) { return map(h, {v, 0}).x(); };
  const double a = x(0), b = x(1), c = x(2), d = x(3);
  EXPECT_NEAR((a - c) * (b - d) / ((b - c) * (a - d)), 4.0 / 3, 1e-12);
}

}  // namespace pw::transform_test
