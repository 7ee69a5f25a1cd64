#include "track/bending.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <functional>

#include "base/random.h"

namespace pw::bending_test {

using Field = std::function<Point(const Point& x)>;  // Displacement, pixels.
const Point kCentre(160, 120);
constexpr double kRadius = 200;

struct Case {
  std::vector<TileShift> shifts;
  std::vector<Rect> tiles;
};

// Tiles whose texture has so much information; their displacements with noise as that information allows.
Case drawn(const Field& field, double noise = 1, int side = 32) {
  Case c;
  for (int y = 0; y < 240; y += side)
    for (int x = 0; x < 320; x += side) {
      const Point middle(x + side / 2.0, y + side / 2.0);
      const RandomBits b = random_bits(11, 0, x, y);
      const auto g = gauss(b[0], b[1]);
      Eigen::Matrix2d information;
      information << 4000 + 20.0 * x, 700, 700, 2500 + 15.0 * y;
      const Eigen::Matrix2d root = information.llt().matrixL();
      const Point pull = information * field(middle) + noise * Point(root * Point(g[0], g[1]));
      c.shifts.push_back({information, pull, double(side) * side});
      c.tiles.push_back({x, y, x + side, y + side});
    }
  return c;
}

Bending of(const Case& c, double radius = kRadius) { return bending(c.shifts, c.tiles, kCentre, radius); }

// RMS of what is left of a field by the best homography, every tile counted alike.
double left_of(const Field& field, const Case& c) {
  const auto n = Eigen::Index(c.tiles.size());
  Eigen::MatrixXd j(2 * n, 8);
  Eigen::VectorXd d(2 * n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Rect& t = c.tiles[size_t(i)];
    const Point x(0.5 * (t.x0 + t.x1), 0.5 * (t.y0 + t.y1));
    j.middleRows<2>(2 * i) = motion_jacobian(x, kCentre, kRadius);
    d.segment<2>(2 * i) = field(x);
  }
  return (d - j * j.colPivHouseholderQr().solve(d)).norm() / std::sqrt(double(n));
}

Point quadratic(const Point& p) {
  const Point d = (p - kCentre) / kRadius;
  return {1.5 * d.y() * d.y() - 0.4 * d.x(), 0.9 * d.x() * d.x() + 0.6 * d.x() * d.y() + 0.2};
}

TEST(Bending, IsWhatAHomographyCannotDo) {
  const Case c = drawn(quadratic, 0);
  const Bending b = of(c);
  EXPECT_NEAR(b.px, left_of(quadratic, c), 0.15 * b.px);  // Tiles weigh by their texture.
  EXPECT_GT(b.certainty, 1e6);
}

TEST(Bending, OfALensThatIsNotTold) {
  // Between two frames 60 pixels apart, about another middle; k1 = -0.1 at a half diagonal of 400.
  const auto lens = [](const Point& p) { return Point(-0.1 * p.squaredNorm() / (400 * 400) * p); };
  const Field field = [&](const Point& x) {
    return Point(lens(x - Point(190, 150) + Point(60, 0)) - lens(x - Point(190, 150)));
  };
  const Case c = drawn(field);
  EXPECT_NEAR(of(c).px, left_of(field, c), 0.2 * left_of(field, c));
  EXPECT_GT(of(c).certainty, 100);
}

TEST(Bending, NoiseAndHomographiesBendNothing) {
  const Case noise = drawn([](const Point&) { return Point(0, 0); });
  EXPECT_LT(of(noise).certainty, 3);
  EXPECT_LT(of(noise).px, 0.02);
  const Case moved = drawn([](const Point& x) {
    Eigen::Matrix<double, kMotion, 1> m;
    m << 0.3, -0.2, 0.5, 0.1, 0.4, -0.6, 0.7, -0.5;
    return Point(motion_jacobian(x, kCentre, kRadius) * m);
  });
  EXPECT_LT(of(moved).certainty, 3);
  EXPECT_LT(of(moved).px, 0.02);
}

TEST(Bending, ThePlacesThatSeeSomethingElseDoNotAgree) {
  const Case other = drawn([](const Point& x) {
    const RandomBits b = random_bits(5, 1, int(x.x()), int(x.y()));
    const auto g = gauss(b[0], b[1]);
    return x.x() > 220 ? Point(0.5 * g[0], 0.5 * g[1]) : Point(0, 0);
  });
  EXPECT_LT(of(other).certainty, 5);
}

TEST(Bending, TheUnitOfTheSumsDoesNotMatter) {
  Case c = drawn(quadratic, 0.5);
  const Bending before = of(c);
  for (TileShift& t : c.shifts) t.information *= 1e6, t.pull *= 1e6;
  EXPECT_NEAR(of(c).px, before.px, 1e-3 * before.px);
  EXPECT_NEAR(of(c).certainty, before.certainty, 0.05 * before.certainty);
}

TEST(Bending, TooLittleToTell) {
  const Case few = drawn(quadratic, 1, 120);
  EXPECT_EQ(of(few).px, 0);
  EXPECT_EQ(of(few).certainty, 0);
  EXPECT_EQ(of({}).certainty, 0);
  Case lines = drawn(quadratic);  // Stripes tell one direction only.
  for (TileShift& t : lines.shifts) t.information << 5000, 0, 0, 0, t.pull.setZero();
  EXPECT_EQ(of(lines).certainty, 0);
}

}  // namespace pw::bending_test
