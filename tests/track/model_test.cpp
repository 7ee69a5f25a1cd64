#include "track/model.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>

namespace pw::model_test {

const std::vector<Point> kRegion{{10, 20}, {110, 25}, {105, 90}, {12, 80}};
const Point kCentre(60, 55);
constexpr double kRadius = 60;

Matrix3 similar(double grow, double turn, double dx, double dy) {
  Matrix3 m;
  m << grow * std::cos(turn), -grow * std::sin(turn), dx, grow * std::sin(turn), grow * std::cos(turn), dy, 0, 0, 1;
  return m;
}

TEST(Model, SmallMotionsOfTheBasisStayWithinTheLimits) {
  const Matrix3 start = similar(1.3, 0.4, 8, -5);
  for (MotionModel model : {MotionModel::affine, MotionModel::similarity, MotionModel::translation})
    for (LockedAxis lock : {LockedAxis::none, LockedAxis::x, LockedAxis::y}) {
      const MotionLimits limits{model, lock};
      const Matrix3 h = within(limits, start, kRegion, kCentre);
      const MotionBasis basis = motion_basis(limits, h, kCentre);
      for (Eigen::Index i = 0; i < basis.cols(); ++i) {
        const Matrix3 next = normalised(h * small_homography(0.7 * basis.col(i), kCentre, kRadius));
        EXPECT_LT((within(limits, next, kRegion, kCentre) - next).cwiseAbs().maxCoeff(), 1e-9)
            << int(model) << " " << int(lock) << " " << i;
        if (lock == LockedAxis::x) EXPECT_NEAR(map(next, kCentre).x(), kCentre.x(), 1e-9);
        if (lock == LockedAxis::y) EXPECT_NEAR(map(next, kCentre).y(), kCentre.y(), 1e-9);
      }
    }
}

TEST(Model, NearestWithinTheLimits) {
  const MotionLimits similarity{MotionModel::similarity, LockedAxis::none};
  const Matrix3 exact = similar(0.8, -0.3, 20, 7);
  EXPECT_LT((within(similarity, exact, kRegion, kCentre) - exact).norm(), 1e-9);
  // A million times as large.
  std::vector<Point> large;
  for (const Point& p : kRegion) large.push_back(1e6 * p);
  const Matrix3 far = similar(0.8, -0.3, 20e6, 7e6);
  EXPECT_LT((within(similarity, far, large, 1e6 * kCentre) - far).norm() / far.norm(), 1e-9);
  // No small change within the limits comes nearer to a homography's corners.
  Matrix3 tilted = exact;
  tilted(2, 0) = 1e-3;
  const auto miss = [&](const Matrix3& h) {
    double sum = 0;
    for (const Point& p : kRegion) sum += (map(h, p) - map(tilted, p)).squaredNorm();
    return sum;
  };
  for (MotionModel model : {MotionModel::affine, MotionModel::similarity, MotionModel::translation}) {
    const MotionLimits limits{model, LockedAxis::none};
    const Matrix3 best = within(limits, tilted, kRegion, kCentre);
    const MotionBasis basis = motion_basis(limits, best, kCentre);
    for (Eigen::Index i = 0; i < basis.cols(); ++i)
      for (double step : {-0.01, 0.01})
        EXPECT_GT(miss(normalised(best * small_homography(step * basis.col(i), kCentre, kRadius))), miss(best));
  }
}

TEST(Model, SaysWhatIsNotFixedAndWhatWouldDo) {
  Eigen::Matrix<double, kMotion, kMotion> c = Eigen::Matrix<double, kMotion, kMotion>::Identity() * 1e-4;
  const auto asked = [&](const MotionLimits& limits) {
    return unfixed(c, limits, Matrix3::Identity(), kRegion, kCentre, kRadius, 0.5);
  };
  c(6, 6) = c(7, 7) = 9;  // Little perspective is seen.
  EXPECT_EQ(asked({}).motions, "tilt across, tilt along");
  EXPECT_EQ(asked({}).remedy, "model = \"affine\"");
  // An upright line tells of nothing that happens along it.
  for (int i : {3, 4, 5}) c(i, i) = 9;
  EXPECT_EQ(asked({}).motions, "shifts along y, rotation, scale, stretch, shear, tilt across, tilt along");
  EXPECT_EQ(asked({}).remedy, "model = \"similarity\", lock = \"y\"");
  c = Eigen::Matrix<double, kMotion, kMotion>::Identity() * 9;  // Flat: nothing would do.
  EXPECT_EQ(asked({}).remedy, "");
  // None would do, but a few shifts alone come near.
  for (int i : {2, 5}) c(i, i) = 0.7 * 0.7;
  const Unfixed near = asked({});
  EXPECT_EQ(near.remedy, "model = \"translation\"");
  EXPECT_NEAR(near.remedy_px, 0.7, 1e-9);
  EXPECT_EQ(unfixed(c, {}, Matrix3::Identity(), kRegion, kCentre, kRadius, 0.3).remedy, "");
}

}  // namespace pw::model_test
