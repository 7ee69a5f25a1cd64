#include "track/telling.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <algorithm>

namespace pw::telling_test {

using testing::Contains;
using testing::ElementsAre;
using testing::IsEmpty;

Motion motion(int frames) {
  Motion m{64, 48, 1, {{0, 0}, {9, 0}, {9, 9}, {0, 9}}, {}};
  for (int f = 1; f <= frames; ++f) m.poses.push_back({.frame = f, .residual = 0.01});
  return m;
}

TEST(Telling, SigmaIsThatOfTheWorstDirection) {
  const Eigen::Rotation2Dd turn(0.7);
  Eigen::Matrix2d c =
      turn.toRotationMatrix() * Eigen::Vector2d(9, 0.25).asDiagonal() * turn.toRotationMatrix().transpose();
  Eigen::MatrixXd all = Eigen::MatrixXd::Constant(8, 8, 0.01);
  for (int i = 0; i < 4; ++i) all.block<2, 2>(2 * i, 2 * i) = c * (i + 1);
  Pose p;
  p.corner_covariance.assign(all.data(), all.data() + all.size());
  const auto s = corner_sigmas(p);
  ASSERT_EQ(s.size(), 4u);
  for (int i = 0; i < 4; ++i) EXPECT_NEAR(s[i], 3 * std::sqrt(i + 1), 1e-12);
  p.status = TrackStatus::lost;
  EXPECT_THAT(corner_sigmas(p), IsEmpty());
  EXPECT_THAT(corner_sigmas(Pose{}), IsEmpty());
}

TEST(Telling, FewFramesAreAllTold) {
  const Motion m = motion(5);
  EXPECT_THAT(telling_frames({&m}, 5), ElementsAre(1, 2, 3, 4, 5));
  EXPECT_THAT(telling_frames({}, 5), IsEmpty());
}

TEST(Telling, WhatTellsMostIsAmongThem) {
  Motion a = motion(200), b = motion(200);
  b.reference = 77;
  a.poses[122].residual = 0.2;
  a.poses[40].residual = 9, a.poses[40].status = TrackStatus::lost;  // Not its residual, but where it begins.
  b.poses[150].corner_covariance.assign(64, 0.5);
  const auto frames = telling_frames({&a, &b}, 12);
  EXPECT_GE(frames.size(), 10u);
  EXPECT_LE(frames.size(), 12u);
  EXPECT_TRUE(std::is_sorted(frames.begin(), frames.end()));
  for (int f : {1, 77, 123, 151, 41, 42, 200}) EXPECT_THAT(frames, Contains(f));
}

TEST(Telling, ManyChangesLeaveRoomForTheRest) {
  Motion m = motion(300);
  for (int i = 0; i < 60; ++i) m.poses[i].status = i % 2 ? TrackStatus::weak : TrackStatus::good;
  for (size_t most : {1, 2, 3, 12, 100}) {
    const auto frames = telling_frames({&m}, most);
    EXPECT_LE(frames.size(), most);
    EXPECT_GE(frames.size(), std::max<size_t>(1, most * 2 / 3));
  }
  EXPECT_THAT(telling_frames({&m}, 12), Contains(300));
}

}  // namespace pw::telling_test
