#include "track/shutter.h"

#include <gtest/gtest.h>

#include <Eigen/LU>

namespace pw::shutter_test {

const std::vector<Point> kRegion{{100, 80}, {300, 90}, {290, 240}, {110, 230}};

Matrix3 moving(double t) {
  Matrix3 m;
  m << 1 + 0.01 * t, -0.004 * t * t, 3 * t + 0.4 * t * t - 0.02 * t * t * t, 0.02 * t, 1 - 0.002 * t * t, -2 * t,
      1e-5 * t, 0, 1;
  return m;
}

Motion motion(int from, int to) {
  Motion m{640, 480, 0, kRegion, {}};
  for (int f = from; f <= to; ++f) m.poses.push_back({f, moving(f)});
  return m;
}

TEST(Shutter, PathOfAFrameBetweenOthersAndAtTheEnds) {
  const Motion m = motion(-6, 6);
  for (int f : {-6, -5, 0, 5, 6})
    for (double deg : {90.0, 180.0, 360.0}) {
      const Path p = frame_path(m, f, deg);
      const double s = deg / 720;
      for (const Point& c : kRegion) {
        const Point open = map(Matrix3(moving(f - s).inverse() * moving(f)), c);
        const Point close = map(Matrix3(moving(f + s).inverse() * moving(f)), c);
        EXPECT_LT((map(p.open, c) - open).norm(), 0.02) << f << " " << deg;
        EXPECT_LT((map(p.close, c) - close).norm(), 0.02) << f << " " << deg;
      }
    }
}

TEST(Shutter, SteadySpeedFromOneNeighbour) {
  const auto at = [](double t) { return translation(8 * t, -4 * t); };
  const Quad corners = corner_quad(kRegion);
  const Path ahead = steady_path(at(5), at(4), 1, 180, corners), back = steady_path(at(5), at(6), -1, 180, corners);
  for (const Path& p : {ahead, back}) {
    EXPECT_LT((map(p.open, {10, 10}) - Point(12, 9)).norm(), 1e-9);
    EXPECT_LT((map(p.close, {10, 10}) - Point(8, 11)).norm(), 1e-9);
    EXPECT_NEAR(p.length({0, 0, 50, 50}), std::hypot(4, 2), 1e-9);
  }
}

TEST(Shutter, StandsStillWhenNothingIsKnown) {
  EXPECT_EQ(frame_path(motion(3, 3), 3, 180).length({0, 0, 99, 99}), 0);
  EXPECT_EQ(frame_path(motion(0, 3), 9, 180).length({0, 0, 99, 99}), 0);
  EXPECT_NEAR(frame_path(motion(0, 4), 2, 0).length({0, 0, 99, 99}), 0, 1e-9);
}

TEST(Shutter, ScaledPathIsShorter) {
  const Path p{translation(-3, 1), translation(3, -1)};
  EXPECT_NEAR(scaled(p, 4).length({0, 0, 10, 10}), p.length({0, 0, 10, 10}) / 4, 1e-12);
}

}  // namespace pw::shutter_test
