#include "track/normal.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>

#include "base/random.h"

namespace pw::normal_test {

using MotionVector = Eigen::Matrix<double, kMotion, 1>;

TEST(Normal, MotionJacobianAgainstDifferences) {
  for (double scale : {1.0, 1e6}) {
    const Point centre = scale * Point(120, 80);
    const double radius = 90 * scale, step = 1e-5 * scale;
    for (const Point& x : {Point(40, 60), Point(200, 10), Point(120, 80)}) {
      const auto j = motion_jacobian(scale * x, centre, radius);
      for (int k = 0; k < kMotion; ++k) {
        MotionVector p = MotionVector::Zero();
        p[k] = step;
        const Point a = map(small_homography(p, centre, radius), scale * x);
        const Point b = map(small_homography(-p, centre, radius), scale * x);
        EXPECT_LT(((a - b) / (2 * step) - j.col(k)).norm(), 1e-6) << k;
      }
    }
  }
}

// Rasters whose values are smooth functions, so that derivatives are known.
struct Smooth {
  Rect window{0, 0, 40, 36}, tile{4, 4, 36, 32};
  Raster reference, frame, middle, weight;
  Point centre{20, 18};
  double radius = 25;
  LightVector light = Light::start();

  static double value(double x, double y, int c) {
    return 0.4 + 0.2 * std::sin(0.31 * x + 0.12 * y + c) + 0.15 * std::cos(0.23 * y - 0.05 * x * (1 + 0.1 * c));
  }
  explicit Smooth(const MotionVector& motion, const LightVector& shown)
      : reference(window), frame(window), middle(window), weight(window) {
    const Matrix3 h = small_homography(motion, centre, radius);
    for (int y = 0; y < window.y1; ++y)
      for (int x = 0; x < window.x1; ++x)
        for (int c = 0; c < 4; ++c) {
          const Point p = map(h, {x + 0.5, y + 0.5});
          reference.at(x, y)[c] = c < 3 ? float(value(x + 0.5, y + 0.5, c)) : 1;
          // Seen at x, the frame shows what the reference has at H x.
          const double xi = (p.x() - 20) / 16, eta = (p.y() - 18) / 14;
          const double gain = c < 3 ? shown[2 * c] + shown[6] * xi + shown[7] * eta : 1;
          frame.at(x, y)[c] = c < 3 ? float(gain * value(p.x(), p.y(), c) + shown[2 * c + 1]) : 1;
          middle.at(x, y)[c] = 0.5f * (reference.at(x, y)[c] + frame.at(x, y)[c]);
          weight.at(x, y)[c] = 1e4f * float(1 + 0.2 * std::sin(x)) * (c < 3 ? 1 : 1e-4f);
        }
  }
  TileInput input() const { return {&reference, &frame, &middle, &weight, centre, radius}; }
};

TEST(Normal, StepFindsASmallMotion) {
  MotionVector motion;
  motion << 0.11, -0.07, 0.21, 0.05, -0.12, -0.16, 0.02, -0.03;
  const Smooth s(motion, Light::start());
  Light light;
  light.tile.assign(1, LightVector::Zero());
  const std::vector<TileSums> sums{accumulate(s.input(), s.tile, light.of(0))};
  const Step step = solve(sums, light, LightSpread{1e-6, 1e-6, 1e-6}, 1e6);
  // The frame is `motion` ahead, so the step goes back: W(x) = R(x + m), W(x - m) = R(x).
  EXPECT_LT((step.motion + motion).norm(), 0.05 * motion.norm()) << step.motion.transpose();
}

TEST(Normal, SumsAgainstRowsOfTheDerivative) {
  MotionVector motion;
  motion << 0.11, -0.07, 0.21, 0.05, -0.12, -0.16, 0.02, -0.03;
  LightVector l;
  l << 1.03, 0.004, 0.97, -0.003, 1.01, 0.002, 0.01, -0.012;
  Smooth s(motion, Light::start());
  s.weight.at(s.tile.x0 + 3, s.tile.y0 + 1) = splat(0);
  const TileSums t = accumulate(s.input(), s.tile, l);
  Eigen::MatrixXd jj = Eigen::MatrixXd::Zero(kMotion, kMotion), jn = jj, nn = jj;
  Eigen::VectorXd jr = Eigen::VectorXd::Zero(kMotion), nr = jr;
  double count = 0;
  for (int y = s.tile.y0; y < s.tile.y1; ++y)
    for (int x = s.tile.x0; x < s.tile.x1; ++x) {
      const double xi = 2 * (x + 0.5 - s.tile.x0) / s.tile.width() - 1;
      const double eta = 2 * (y + 0.5 - s.tile.y0) / s.tile.height() - 1;
      count += s.weight.at(x, y)[3];
      for (int c = 0; c < 3; ++c) {
        const auto middle = [&](int dx, int dy) { return double(s.middle.at(x + dx, y + dy)[c]); };
        const double gx = (8 * (middle(1, 0) - middle(-1, 0)) - (middle(2, 0) - middle(-2, 0))) / 12;
        const double gy = (8 * (middle(0, 1) - middle(0, -1)) - (middle(0, 2) - middle(0, -2))) / 12;
        const Eigen::VectorXd j =
            motion_jacobian(Point(x + 0.5, y + 0.5), s.centre, s.radius).transpose() * Eigen::Vector2d(gx, gy);
        const double v = s.reference.at(x, y)[c], w = s.weight.at(x, y)[c];
        Eigen::VectorXd n = Eigen::VectorXd::Zero(kLight);
        n[2 * c] = v, n[2 * c + 1] = 1, n[6] = xi * v, n[7] = eta * v;
        const double r = s.frame.at(x, y)[c] - n.dot(l);
        jj += w * j * j.transpose(), jn += w * j * n.transpose(), nn += w * n * n.transpose();
        jr += w * r * j, nr += w * r * n;
      }
    }
  EXPECT_NEAR(t.count, count, 1e-5 * count);
  EXPECT_LT((t.jj - jj).norm(), 1e-5 * jj.norm());
  EXPECT_LT((t.jn - jn).norm(), 1e-5 * jn.norm());
  EXPECT_LT((t.nn - nn).norm(), 1e-5 * nn.norm());
  EXPECT_LT((t.jr - jr).norm(), 1e-4 * jr.norm());
  EXPECT_LT((t.nr - nr).norm(), 1e-4 * nr.norm());
}

TEST(Normal, GradientOfTheCostAgainstDifferences) {
  // J'r is half the derivative of the weighted squares when the frame moves.
  const auto cost = [](const MotionVector& m, MotionVector* slope) {
    const Smooth s(m, Light::start());
    if (slope) *slope = accumulate(s.input(), s.tile, Light::start()).jr;
    double squares = 0;
    for (int y = s.tile.y0; y < s.tile.y1; ++y)
      for (int x = s.tile.x0; x < s.tile.x1; ++x)
        for (int c = 0; c < 3; ++c) {
          const double r = s.frame.at(x, y)[c] - s.reference.at(x, y)[c];
          squares += s.weight.at(x, y)[c] * r * r;
        }
    return squares;
  };
  MotionVector at, slope;
  at << 0.02, 0.01, 0.03, -0.02, 0.01, 0.02, 0.01, -0.01;
  cost(at, &slope);
  for (int k = 0; k < kMotion; ++k) {
    MotionVector d = MotionVector::Zero();
    d[k] = 1e-2;
    const double numeric = (cost(at + d, nullptr) - cost(at - d, nullptr)) / 2e-2 / 2;
    EXPECT_NEAR(slope[k], numeric, 0.03 * slope.norm()) << k;
  }
}

TEST(Normal, LightIsSolvedForAndDoesNotPull) {
  LightVector shown;
  shown << 1.03, 0.004, 0.97, -0.003, 1.01, 0.002, 0.01, -0.012;
  const Smooth s(MotionVector::Zero(), shown);
  Light light;
  light.tile.assign(1, LightVector::Zero());
  LightVector total = light.of(0);
  for (int i = 0; i < 3; ++i) {
    const std::vector<TileSums> sums{accumulate(s.input(), s.tile, light.of(0))};
    const Step step = solve(sums, light, LightSpread{}, 3);
    EXPECT_LT(step.motion.norm(), 2e-3);
    light.all += step.all, light.tile[0] += step.tile[0];
    total = light.of(0);
  }
  EXPECT_LT((total - shown).norm(), 2e-3) << total.transpose();
}

TEST(Normal, NothingIsFixedByNoTexture) {
  Smooth s(MotionVector::Zero(), Light::start());
  for (int y = 0; y < 36; ++y)
    for (int x = 0; x < 40; ++x) s.reference.at(x, y) = s.frame.at(x, y) = s.middle.at(x, y) = f4{0.2f, 0.2f, 0.2f, 1};
  Light light;
  light.tile.assign(1, LightVector::Zero());
  const Step step = solve({accumulate(s.input(), s.tile, light.of(0))}, light, LightSpread{}, 3);
  EXPECT_LT(step.motion.norm(), 1e-9);
  EXPECT_TRUE(step.covariance.allFinite());
  EXPECT_LT(step.information.norm(), 1e-6);
  Smooth dark(MotionVector::Zero(), Light::start());
  for (int y = 0; y < 36; ++y)
    for (int x = 0; x < 40; ++x) dark.weight.at(x, y) = splat(0);
  const Step nothing = solve({accumulate(dark.input(), dark.tile, light.of(0))}, light, LightSpread{}, 3);
  EXPECT_EQ(nothing.motion.norm(), 0);
}

}  // namespace pw::normal_test
