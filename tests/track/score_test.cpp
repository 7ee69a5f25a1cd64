#include "track/score.h"

#include <gtest/gtest.h>

#include <Eigen/LU>

namespace pw::score_test {

Motion truth() {
  Motion m{640, 480, 1, {{100, 100}, {300, 100}, {300, 200}, {100, 200}}, {}};
  for (int f = 1; f <= 5; ++f)
    m.poses.push_back({f, Matrix3(translation(3 * f - 3, 0) * scaling(1 + 0.02 * (f - 1), 1))});
  return m;
}

TEST(Score, PerfectTrack) {
  const TrackScore s = score(truth(), truth());
  ASSERT_EQ(s.frames.size(), 4u);  // The reference is given.
  EXPECT_EQ(s.rms_px, 0);
  EXPECT_NEAR(s.discrepancy_px, 0, 1e-9);
  EXPECT_EQ(s.lost, 0);
  EXPECT_EQ(s.precision, (std::array<double, 3>{1, 1, 1}));
}

TEST(Score, HandMadeErrors) {
  Motion m = truth();
  m.poses[1].frame_from_ref = translation(0.3, 0.4) * m.poses[1].frame_from_ref;  // 0.5 px
  m.poses[2].frame_from_ref = translation(0, 4) * m.poses[2].frame_from_ref;      // Lost: above 3 px while good.
  m.poses[3].frame_from_ref = translation(0, 4) * m.poses[3].frame_from_ref;
  m.poses[3].status = TrackStatus::weak;  // Flagged and below 5 px: not lost.
  m.poses[4].status = TrackStatus::lost;
  const TrackScore s = score(m, truth());
  EXPECT_NEAR(s.frames[0].rms_px, 0.5, 1e-12);
  EXPECT_NEAR(s.frames[0].worst_px, 0.5, 1e-12);
  EXPECT_NEAR(s.frames[0].discrepancy_px, 0.5, 1e-9);
  EXPECT_FALSE(s.frames[0].lost);
  EXPECT_TRUE(s.frames[1].lost);
  EXPECT_FALSE(s.frames[2].lost);
  EXPECT_TRUE(s.frames[3].lost);
  EXPECT_FALSE(s.frames[3].known);
  EXPECT_EQ(s.lost, 2);
  EXPECT_NEAR(s.rms_px, std::sqrt((0.25 + 16 + 16) / 3), 1e-12);
  EXPECT_EQ(s.worst_px, 4);
  EXPECT_EQ(s.precision, (std::array<double, 3>{0, 0.25, 0.75}));
}

TEST(Score, RotationIsWorseAtTheCorners) {
  Motion m = truth();
  const double a = 0.01;
  Matrix3 turn;
  turn << std::cos(a), -std::sin(a), 0, std::sin(a), std::cos(a), 0, 0, 0, 1;
  // About the middle of the truth's frame 1 region; corners lie hypot(100, 50) away.
  m.poses[0].frame = 1;
  m.poses[1].frame_from_ref = translation(200, 150) * turn * translation(-200, -150) * truth().poses[1].frame_from_ref;
  Motion t = truth();
  t.poses[1].frame_from_ref = Matrix3::Identity();
  m.poses[1].frame_from_ref = translation(200, 150) * turn * translation(-200, -150);
  const TrackScore s = score(m, t);
  EXPECT_NEAR(s.frames[0].rms_px, 2 * std::sin(a / 2) * std::hypot(100, 50), 1e-9);
}

TEST(Score, AnotherReferenceIsCarriedOver) {
  const Motion t = truth();
  Motion m = t;
  m.reference = 3;
  const Matrix3 back = t.poses[2].frame_from_ref.inverse();
  for (Pose& p : m.poses) p.frame_from_ref = normalised(p.frame_from_ref * back);
  const TrackScore s = score(m, t);
  EXPECT_LT(s.worst_px, 1e-9);
  EXPECT_EQ(s.lost, 0);
  m.poses[0].status = TrackStatus::lost;  // Nothing links the two.
  EXPECT_EQ(score(m, t).lost, 4);
}

TEST(Score, MissingFramesAreLost) {
  Motion m = truth();
  m.poses.pop_back();
  EXPECT_EQ(score(m, truth()).lost, 1);
  EXPECT_EQ(score(Motion{640, 480, 1, {}, {}}, truth()).lost, 4);
}

// Places that no homography gives: those the truth says by themselves.
TEST(Score, LensAndRowsOneAfterTheOther) {
  Motion t = truth(), m = truth();
  m.lens = {-0.1, 0};
  m.readout = 0.5;
  for (Pose& p : t.poses)
    for (const Point& c : t.region) p.corners.push_back(*m.seen_between(p.frame, 1, c));
  EXPECT_LT(score(m, t).worst_px, 1e-9);
  for (Pose& p : t.poses) p.corners[2].y() += 2;
  EXPECT_NEAR(score(m, t).worst_px, 1, 1e-9);  // The root of a quarter of 2 squared.
  EXPECT_GT(score(truth(), t).worst_px, 1.1);  // A homography alone is wrong.
}

}  // namespace pw::score_test
