#include "track/corrected.h"

#include <gtest/gtest.h>

#include <cmath>

#include "tests/track/drawn.h"
#include "track/score.h"

namespace pw::corrected_test {

using drawn::Scene;
const std::vector<Point> kRegion = drawn::box(50, 40, 150, 120);

std::vector<Point> moved(const Matrix3& h, const std::vector<Point>& region = kRegion) {
  std::vector<Point> out;
  for (const Point& p : region) out.push_back(map(h, p));
  return out;
}

Scene swaying(int last) {
  Scene s;
  s.to = last, s.fine = 1, s.grain = 0.01;
  s.frame_from_plane = [](double t) { return drawn::handheld(2 * std::sin((t - 1) / 4)); };
  return s;
}

Motion tracked(const PlaneFrames& frames, const std::vector<FixedCorners>& fixed, int reference = 1) {
  const auto m = track_plane(frames, {.reference = reference, .region = kRegion, .fixed = fixed}, serial());
  EXPECT_TRUE(m) << (m ? "" : to_string(m.error()));
  return m ? *m : Motion{};
}

// Corners as a person clicks them: off by up to 0.8 px, each another way.
FixedCorners clicked(const Scene& s, int frame, int reference = 1) {
  FixedCorners f{frame, moved(s.frame_from_ref(frame, reference))};
  for (size_t i = 0; i < 4; ++i) f.corners[i] += 0.8 * Point(std::sin(2.0 * i + frame), std::cos(3.0 * i + frame));
  return f;
}

double residual_px(const Motion& m, const Scene& s, int frame, size_t corner) {
  const Point c = kRegion[corner];
  return (map(m.find(frame)->frame_from_ref, c) - map(s.frame_from_ref(frame, m.reference), c)).norm();
}

TEST(Corrected, ExactWhereFixedAndBlendedBetween) {
  const Scene s = swaying(13);
  const std::vector<FixedCorners> fixed{clicked(s, 11, 4), clicked(s, 7, 4)};  // In any order.
  const Motion m = tracked(s, fixed, 4);
  ASSERT_EQ(m.poses.size(), 13u);
  for (const FixedCorners& f : fixed) {
    const Pose& p = *m.find(f.frame);
    for (int i = 0; i < 4; ++i) EXPECT_LT((map(p.frame_from_ref, kRegion[i]) - f.corners[i]).norm(), 1e-9);
    EXPECT_EQ(p.status, TrackStatus::good);
    EXPECT_EQ(p.reason, "");
    EXPECT_EQ(p.corner_covariance, std::vector<double>(64, 0.0));
  }
  for (const Pose& p : m.poses) EXPECT_EQ(p.status, TrackStatus::good) << p.frame << ": " << p.reason;
  // What is left against the truth is the clicks' own errors, in proportion to the time to the given frames, and stays
  // beyond the last of them; nothing is left before the reference. 0.06: the track's own error.
  for (size_t i = 0; i < 4; ++i) {
    const auto at = [&](int f) {
      return Point(map(m.find(f)->frame_from_ref, kRegion[i]) - map(s.frame_from_ref(f, 4), kRegion[i]));
    };
    for (int f = 1; f <= 3; ++f) EXPECT_LT(at(f).norm(), 0.06) << f;
    for (int f = 5; f <= 6; ++f) EXPECT_LT((at(f) - (f - 4) / 3.0 * at(7)).norm(), 0.06) << f;
    for (int f = 8; f <= 10; ++f)
      EXPECT_LT((at(f) - ((11 - f) / 4.0 * at(7) + (f - 7) / 4.0 * at(11))).norm(), 0.06) << f;
    for (int f = 12; f <= 13; ++f) EXPECT_LT((at(f) - at(11)).norm(), 0.06) << f;
  }
}

TEST(Corrected, NothingFixedChangesNothing) {
  const Scene s = swaying(4);
  const Motion plain = tracked(s, {}), home = tracked(s, {{1, kRegion}});
  for (const Pose& p : plain.poses) EXPECT_EQ(p.frame_from_ref, home.find(p.frame)->frame_from_ref);
}

// Something passes over most of the region for half of the shot, and moves by itself: what is left does not tell where
// the plane is. Two corrections do.
TEST(Corrected, TwoCorrectionsBringBackALostSequence) {
  Scene s = swaying(16);
  s.grain = 0.004;
  s.cover = [](double t, double x, double y, float* rgb) {
    if (t < 4.5 || t > 13.5 || x > 128 || x < 20) return false;
    drawn::texture(1.3 * y + 900, 0.7 * x - 400 + 40 * t, rgb);
    return true;
  };
  const Motion alone = tracked(s, {});
  int without = 0;
  for (int f = 5; f <= 13; ++f)
    without += alone.find(f)->status != TrackStatus::good || residual_px(alone, s, f, 0) > 3;
  EXPECT_GE(without, 8);
  std::vector<FixedCorners> fixed;
  for (int f : {7, 11}) fixed.push_back({f, moved(s.frame_from_ref(f, 1))});
  const Motion mended = tracked(s, fixed);
  for (const FrameScore& f : score(mended, s.truth(1, kRegion)).frames) {
    EXPECT_FALSE(f.lost) << f.frame << " " << name(f.status);
    EXPECT_LT(f.rms_px, 1) << f.frame << " " << name(f.status);
  }
}

// Ways by hand: where the answers of both come and go, nothing jumps.
TEST(Corrected, NoJumpWhereAWayIsLost) {
  const auto way = [](int from, int direction, double off, const std::vector<int>& lost) {
    FollowedWay w{from, direction, translation(from, 0), translation(from + off, 0), {}};
    if (from == 0) w.given = w.believed = Matrix3::Identity();
    for (int f = from + direction; f > 0 && f < 20; f += direction) {
      Pose p{f, translation(f + off, 0)};
      if (std::find(lost.begin(), lost.end(), f) != lost.end()) p.status = TrackStatus::lost;
      w.poses.push_back(p);
    }
    return w;
  };
  // The way back has the plane 1 px aside on the frame it sets out from, and slides by a pixel and a half at once, by
  // less further back. Before frame 5 only the way ahead is known: there it is as far from the other as on 5.
  FollowedWay ahead = way(0, 1, 0, {9, 10, 11, 12, 16, 17}), back = way(20, -1, 1, {1, 2, 3, 4, 14});
  for (Pose& p : back.poses) p.frame_from_ref = translation(0.5 + 0.05 * p.frame, 0) * p.frame_from_ref;
  const std::vector<Pose> poses = joined({ahead, back}, kRegion, 3);
  ASSERT_EQ(poses.size(), 21u);
  for (int f = 0; f <= 20; ++f) {
    EXPECT_EQ(poses[f].frame, f);
    EXPECT_EQ(poses[f].status, TrackStatus::good);
    EXPECT_NEAR(poses[f].frame_from_ref(0, 2), f < 20 ? f + (0.5 + 0.05 * std::max(f, 5)) * f / 20 : 20, 1e-9) << f;
  }
  const std::vector<Pose> apart = joined({ahead, back}, kRegion, 0.5);
  EXPECT_EQ(apart[6].status, TrackStatus::weak);
  EXPECT_EQ(apart[6].reason, "followed from frames 0 and 20 it is 1.8 px apart");
  EXPECT_EQ(apart[2].status, TrackStatus::good);  // Only one way has an answer.
}

TEST(Corrected, WhatContradictsIsRefused) {
  const auto said = [](std::vector<FixedCorners> fixed, std::vector<Point> region = kRegion) {
    for (FixedCorners& f : fixed)
      if (f.line) f.file = "f.csv";
    const auto poses = fixed_poses(fixed, region, 1, 1, 9);
    if (poses) return std::string("taken");
    std::string all;
    for (const Problem& p : poses.error()) all += (all.empty() ? "" : "\n") + to_string(p);
    return all;
  };
  const auto there = moved(translation(3, 1));
  EXPECT_EQ(said({{4, there}, {1, kRegion}}), "taken");
  EXPECT_EQ(said({{4, there, "", 2}, {4, kRegion, "", 3}}),
            "f.csv:3: corners are fixed on frame 4 twice, in line 2 too; keep one of them");
  EXPECT_EQ(said({{12, there, "", 2}}),
            "f.csv:2: corners are fixed on frame 12, which is not among the frames 1 to 9; take this frame out");
  EXPECT_EQ(said({{4, {there[0], there[1], there[2]}}}),
            "3 corners are fixed on frame 4, the region has 4; give all of them, in the region's order");
  EXPECT_EQ(said({{1, there, "", 7}}),
            "f.csv:7: the corners fixed on frame 1, the reference, are not those of the region; correct the region "
            "itself");
  const std::string no_camera =
      "no camera sees the region with its corners as they are fixed on frame 4; give them in the region's order, the "
      "same way round";
  EXPECT_EQ(said({{4, {there[0], there[2], there[1], there[3]}}}), no_camera);       // Twisted.
  EXPECT_EQ(said({{4, {there[0], there[3], there[2], there[1]}}}), no_camera);       // From behind.
  EXPECT_EQ(said({{4, {there[0], there[1], Point(60, 50), there[3]}}}), no_camera);  // A corner pushed in.
  EXPECT_EQ(said({{4, {there[0], there[0], there[0], there[0]}}}), no_camera);
  EXPECT_EQ(said({{4, {there[0], there[1], Point(NAN, 0), there[3]}}}), no_camera);
  const std::vector<Point> five{{50, 40}, {100, 30}, {150, 40}, {150, 120}, {50, 120}};
  auto off = five;
  EXPECT_EQ(said({{4, off}}, five), "taken");
  off[1].y() += 12;
  EXPECT_NE(said({{4, off}}, five).find("fixed on frame 4 is "), std::string::npos);
  // All that is wrong, not only the first.
  EXPECT_NE(said({{12, there, "", 2}, {1, there, "", 3}}).find("f.csv:3"), std::string::npos);
}

}  // namespace pw::corrected_test
