#include "track/bridge.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <random>

#include "track/telling.h"

namespace pw::bridge_test {

const std::vector<Point> kRegion{{100, 100}, {300, 90}, {310, 260}, {95, 250}};

// Frames 1 to `last` where `place` moves the region; those of [from, to] are lost, the others known to 0.01 px.
Motion motion(int last, int from, int to, const std::function<Point(int)>& place, double sd = 0.01) {
  Motion m{640, 480, 1, kRegion, {}};
  for (int f = 1; f <= last; ++f) {
    const Point p = place(f);
    Pose pose{f, translation(p.x(), p.y())};
    pose.corner_covariance.assign(64, 0.0);
    for (int i = 0; i < 8; ++i) pose.corner_covariance[9 * i] = f == 1 ? 0 : sd * sd;
    if (f >= from && f <= to) pose = {f, Matrix3::Identity(), TrackStatus::lost, 0, {}, "gone"};
    m.poses.push_back(pose);
  }
  return m;
}

double error_px(const Motion& m, int frame, const Point& truth) {
  double worst = 0;
  for (const Point& c : m.region) worst = std::max(worst, (map(m.find(frame)->frame_from_ref, c) - c - truth).norm());
  return worst;
}

Point turning(int f) { return {3.0 * f - 0.08 * f * f, 20 * std::sin(f / 9.0)}; }

TEST(Bridge, HiddenBetweenBothSidesAndSaid) {
  Motion m = motion(30, 12, 18, turning);
  bridge(m, {});
  for (int f = 12; f <= 18; ++f) {
    EXPECT_EQ(m.find(f)->status, TrackStatus::hidden);
    EXPECT_EQ(m.find(f)->reason, "7 frames without sight, between frames 11 and 19");
    EXPECT_LT(error_px(m, f, turning(f)), 0.3) << f;
    EXPECT_LT(error_px(m, f, turning(f)), 3 * worst_sigma(*m.find(f))) << f;
  }
  for (int f : {11, 12, 13, 14}) EXPECT_LT(worst_sigma(*m.find(f)), worst_sigma(*m.find(f + 1)));
  for (int f : {15, 16, 17, 18}) EXPECT_GT(worst_sigma(*m.find(f)), worst_sigma(*m.find(f + 1)));
}

TEST(Bridge, KnownFramesStayAsTheyAre) {
  const Motion before = motion(30, 12, 18, turning);
  Motion m = before;
  bridge(m, {});
  for (const Pose& p : before.poses)
    if (p.status == TrackStatus::good) {
      EXPECT_EQ(m.find(p.frame)->frame_from_ref, p.frame_from_ref);
      EXPECT_EQ(m.find(p.frame)->corner_covariance, p.corner_covariance);
    }
}

// Velocities that change by steps as the model has it, and by steps that hang together: what is stated holds the error.
TEST(Bridge, AsGoodAsItSays) {
  for (double together : {0.0, 0.7}) {
    double squares = 0;
    int count = 0;
    for (unsigned seed = 0; seed < 60; ++seed) {
      std::mt19937 random(seed);
      std::normal_distribution<double> normal;
      Point at(0, 0), speed(1, -0.5), push(0, 0);
      std::vector<Point> way{at};
      for (int f = 1; f <= 60; ++f) {
        push = together * push + 0.2 * Point(normal(random), normal(random));
        speed += push, at += speed;
        way.push_back(at + 0.01 * Point(normal(random), normal(random)));
      }
      Motion m = motion(60, 25, 36, [&](int f) { return way[f]; });
      bridge(m, {});
      for (int f : {26, 31, 35}) {
        const double sd = std::sqrt(m.find(f)->corner_covariance[0]);
        const Point c = map(m.find(f)->frame_from_ref, kRegion[0]) - kRegion[0] - way[f];
        squares += c.squaredNorm() / (2 * sd * sd), ++count;
      }
    }
    EXPECT_GT(std::sqrt(squares / count), 0.7) << together;
    EXPECT_LT(std::sqrt(squares / count), 1.4) << together;
  }
}

TEST(Bridge, WhatCannotBeKnownStaysLost) {
  const auto lost = [](Motion m, const std::vector<int>& unread = {}) {
    bridge(m, unread);
    int n = 0;
    for (const Pose& p : m.poses) n += p.status == TrackStatus::lost;
    return n;
  };
  EXPECT_EQ(lost(motion(30, 25, 30, turning)), 6);  // Nothing after.
  EXPECT_EQ(lost(motion(80, 20, 20 + kLongestBridge - 1, turning)), 0);
  EXPECT_EQ(lost(motion(80, 20, 20 + kLongestBridge, turning)), kLongestBridge + 1);
  EXPECT_EQ(lost(motion(30, 12, 18, turning), {14}), 1);  // It has no picture.
  // Thrown about by 10 px: in the middle nothing is known.
  const auto thrown = [](int f) { return Point(10 * std::sin(0.9 * f * f), 10 * std::cos(1.7 * f * f)); };
  const int some = lost(motion(60, 20, 39, thrown));
  EXPECT_GT(some, 10);
  EXPECT_LT(some, 20);
  Motion gap = motion(30, 12, 18, turning);
  std::erase_if(gap.poses, [](const Pose& p) { return p.frame == 11; });
  EXPECT_EQ(lost(gap), 7);  // The frame before is not there.
}

TEST(Bridge, OutsideThePicture) {
  const auto away = [](int f) { return Point(0, 0.6 * (f - 20) * (f - 20) - 265); };  // Up, and back.
  Motion m = motion(40, 12, 28, away);
  bridge(m, {});
  EXPECT_EQ(m.find(20)->status, TrackStatus::outside);
  EXPECT_EQ(m.find(20)->reason,
            "0 % of the region would lie in the picture; 17 frames without sight, between frames 11 and 29");
  EXPECT_LT(error_px(m, 20, away(20)), 5);
  EXPECT_EQ(m.find(12)->status, TrackStatus::hidden);  // Still partly in the picture.
}

TEST(Bridge, StraysBesideLostFramesAreDropped) {
  const auto stray = [](int at, double sd, double off) {
    Motion m = motion(30, 12, 18, [&](int f) { return Point(turning(f) + Point(f == at ? off : 0, 0)); });
    for (int i = 0; i < 8; ++i) m.poses[at - 1].corner_covariance[9 * i] = sd * sd;
    drop_strays(m);
    return m.find(at)->status;
  };
  EXPECT_EQ(stray(11, 0.4, 9), TrackStatus::lost);
  EXPECT_EQ(stray(19, 0.4, 9), TrackStatus::lost);
  EXPECT_EQ(stray(11, 0.4, 0.5), TrackStatus::good);  // As near as it says.
  EXPECT_EQ(stray(11, 0.01, 9), TrackStatus::good);   // Seen as well as the others: the camera was pushed.
  EXPECT_EQ(stray(8, 0.4, 9), TrackStatus::good);     // Nothing is lost beside it.
  // One after the other.
  Motion m = motion(
      30, 12, 18, [](int f) { return Point(turning(f) + Point(f == 10 || f == 11 ? 12 : 0, 0)); }, 0.01);
  for (int f : {10, 11})
    for (int i = 0; i < 8; ++i) m.poses[f - 1].corner_covariance[9 * i] = 0.09;
  drop_strays(m);
  EXPECT_EQ(m.find(11)->status, TrackStatus::lost);
  EXPECT_EQ(m.find(10)->status, TrackStatus::lost);
  EXPECT_EQ(m.find(9)->status, TrackStatus::good);
}

TEST(Bridge, NothingToGoBy) {
  Motion none{640, 480, 1, kRegion, {}};
  drop_strays(none), bridge(none, {});
  EXPECT_TRUE(none.poses.empty());
  Motion two = motion(3, 2, 2, turning);  // Two frames around one: they say where, not how it moves.
  bridge(two, {});
  EXPECT_EQ(two.find(2)->status, TrackStatus::hidden);
  EXPECT_EQ(two.find(2)->reason, "without sight, between frames 1 and 3");
  EXPECT_GT(worst_sigma(*two.find(2)), 0.4);
}

}  // namespace pw::bridge_test
