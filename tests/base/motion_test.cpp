#include "base/motion.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>

namespace pw::motion_test {

// A corner path that is a cubic in time: interpolation must return it exactly.
Motion cubic(int first, int last) {
  Motion m{640, 480, first, {{100, 100}, {300, 110}, {310, 250}, {90, 260}}, {}};
  for (int f = first; f <= last; ++f) {
    const double t = f - 10;
    Pose p;
    p.frame = f;
    p.frame_from_ref = translation(0.3 * t + 0.01 * t * t * t, -0.2 * t * t);
    m.poses.push_back(p);
  }
  return m;
}

TEST(Motion, WholeFramesAreExact) {
  const Motion m = cubic(1, 20);
  EXPECT_EQ(*m.at(7), m.find(7)->frame_from_ref);
}

TEST(Motion, BetweenFramesFollowsACubic) {
  const Motion m = cubic(1, 20);
  for (double t : {8.25, 10.5, 15.75, 1.5, 19.5}) {
    const double s = t - 10;
    const Point want = Point(200, 150) + Point(0.3 * s + 0.01 * s * s * s, -0.2 * s * s);
    EXPECT_LT((map(*m.at(t), {200, 150}) - want).norm(), 1e-9) << t;
  }
}

TEST(Motion, EndsGoOnForAFrameAndNoFurther) {
  const Motion m = cubic(1, 20);
  EXPECT_TRUE(m.at(20.25));
  EXPECT_TRUE(m.at(0.75));
  EXPECT_FALSE(m.at(22));
  EXPECT_FALSE(m.at(-3));
}

TEST(Motion, LostFramesAreNotUsed) {
  Motion m = cubic(1, 20);
  m.poses[9].status = TrackStatus::lost;
  m.poses[9].frame_from_ref.setConstant(777);
  EXPECT_FALSE(m.at(10));
  const double s = 0.25;
  EXPECT_LT((map(*m.at(10.25), {0, 0}) - Point(0.3 * s + 0.01 * s * s * s, -0.2 * s * s)).norm(), 1e-9);
}

TEST(Motion, BetweenTwoFrames) {
  const Motion m = cubic(1, 20);
  EXPECT_TRUE(m.between(5, 5)->isIdentity());
  const Matrix3 want = m.find(12)->frame_from_ref * m.find(5)->frame_from_ref.inverse();
  EXPECT_TRUE(m.between(12, 5)->isApprox(want, 1e-12));
}

TEST(Motion, StatusNames) {
  for (auto s : {TrackStatus::good, TrackStatus::weak, TrackStatus::hidden, TrackStatus::outside, TrackStatus::lost})
    EXPECT_EQ(track_status(name(s)), s);
  EXPECT_FALSE(track_status("fine"));
}

TEST(Motion, PlacesThroughALensAndRowsOneAfterTheOther) {
  Motion m = cubic(1, 20);
  EXPECT_FALSE(m.bent());
  EXPECT_EQ(*m.seen_from_ref(7, {200, 150}), map(m.find(7)->frame_from_ref, {200, 150}));
  m.lens = {-0.12, 0.01};
  m.readout = 0.6;
  EXPECT_TRUE(m.bent());
  for (double t : {8.0, 10.25, 15.0})
    for (const Point& p : {Point(20, 30), Point(320, 240), Point(600, 400)}) {
      const auto s = m.seen_from_ref(t, p);
      ASSERT_TRUE(s);
      // The row it is seen in is taken at its own time: said again by the definition.
      const double when = t + 0.6 * (std::clamp(s->y() / 480, 0.0, 1.0) - 0.5);
      EXPECT_LT((*seen_from_ideal(m.lens, map(*m.at(when), p), 640, 480) - *s).norm(), 1e-7);
      EXPECT_LT((*m.ref_from_seen(t, *s) - p).norm(), 1e-7);
      EXPECT_LT((*m.seen_between(12, t, *s) - *m.seen_from_ref(12, p)).norm(), 1e-6);
    }
  EXPECT_FALSE(m.seen_from_ref(30, {20, 30}));
  EXPECT_FALSE(m.ref_from_seen(30, {20, 30}));
}

}  // namespace pw::motion_test
