#include "track/patches.h"

#include <gtest/gtest.h>

#include "tests/track/drawn.h"

namespace pw::patches_test {

drawn::Scene moving() {
  drawn::Scene s;
  s.to = 3;
  s.frame_from_plane = [](double t) {
    return Matrix3(drawn::handheld(3 * (t - 1)) * translation(4 * (t - 1), -3 * (t - 1)));
  };
  return s;
}
const std::vector<Point> kRegion = drawn::box(30, 24, 150, 120);

Patches patches_of(const drawn::Scene& s) { return {s.image(1), s.ignore(1), kRegion}; }

double worst(const Sight& sight, const Matrix3& truth) {
  double far = 0;
  for (size_t i = 0; i < sight.in_frame.size(); ++i)
    far = std::max(far, (sight.in_frame[i] - map(truth, sight.in_reference[i])).norm());
  return far;
}

TEST(Patches, AreSeenWhereTheyAreWhateverTheMotionSays) {
  drawn::Scene s = moving();
  const Patches patches = patches_of(s);
  EXPECT_GT(patches.size(), 60u);
  const Matrix3 truth = s.frame_from_ref(3, 1);
  for (double off : {0.0, 2.5}) {
    Motion m = s.truth(1, kRegion);
    m.poses[2].frame_from_ref = normalised(translation(off, -off) * m.poses[2].frame_from_ref);
    const Sight sight = patches.find(s.image(3), {}, 3, m);
    EXPECT_GT(sight.in_frame.size(), patches.size() / 2);
    EXPECT_LT(worst(sight, truth), off == 0 ? 0.05 : 0.3);
    for (const Point& p : sight.in_reference) EXPECT_TRUE(p.x() > 38 && p.x() < 142 && p.y() > 32 && p.y() < 112);
  }
}

TEST(Patches, LightThatFallsFromAsideDoesNotCount) {
  drawn::Scene s = moving();
  s.gain = [](int frame, double x, double) { return frame == 3 ? 0.5 + 0.008 * x : 1; };
  const Sight sight = patches_of(s).find(s.image(3), {}, 3, s.truth(1, kRegion));
  EXPECT_GT(sight.in_frame.size(), 40u);
  EXPECT_LT(worst(sight, s.frame_from_ref(3, 1)), 0.1);
}

TEST(Patches, WhatIsIgnoredAndWhatIsNotThere) {
  drawn::Scene s = moving();
  s.ignored = [](int, double x, double) { return x > 90; };
  const Patches patches = patches_of(s);
  const Sight sight = patches.find(s.image(3), s.ignore(3), 3, s.truth(1, kRegion));
  EXPECT_GT(sight.in_frame.size(), 10u);
  for (const Point& p : sight.in_reference) EXPECT_LT(p.x(), 90);
  for (const Point& p : sight.in_frame) EXPECT_LT(p.x(), 90);
  EXPECT_TRUE(patches.find({}, {}, 3, s.truth(1, kRegion)).in_frame.empty());
  EXPECT_TRUE(patches.find(s.image(3), {}, 9, s.truth(1, kRegion)).in_frame.empty());
  s.paint = [](double, double, float* rgb) { rgb[0] = rgb[1] = rgb[2] = 0.2f; };
  EXPECT_EQ(Patches(s.image(1), {}, kRegion).size(), 0u) << "nothing to be followed";
}

}  // namespace pw::patches_test
