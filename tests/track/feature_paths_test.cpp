#include "track/feature_paths.h"

#include <gtest/gtest.h>

#include "tests/track/drawn.h"
#include "track/plane_groups.h"

namespace pw::feature_paths_test {

using drawn::Scene;

Scene handheld() {
  Scene s;
  s.fine = 1, s.to = 6;
  s.frame_from_plane = [](double t) { return drawn::handheld(t - 1); };
  return s;
}

TEST(FeaturePaths, StayOnThePlane) {
  const Scene s = handheld();
  const auto in = feature_paths(s);
  ASSERT_TRUE(in);
  EXPECT_GT(in->paths.size(), 100u);
  size_t whole = 0;
  double square = 0, count = 0, worst = 0;
  for (const FeaturePath& p : in->paths) {
    whole += p.at.size() == 6;
    for (int f = p.first; f <= p.last(); ++f) {
      const double off = (map(s.frame_from_ref(f, p.first), p.at[0]) - p.on(f)).norm();
      square += off * off, ++count, worst = std::max(worst, off);
    }
  }
  EXPECT_GT(whole, 60u);
  EXPECT_LT(std::sqrt(square / count), 0.15);
  EXPECT_LT(worst, 1);
}

TEST(FeaturePaths, NoneOverIgnoredPixelsAndNoneAcrossAnUnreadFrame) {
  struct Broken final : PlaneFrames {
    Scene s = handheld();
    int first() const override { return 1; }
    int last() const override { return 6; }
    Picture image(int f) const override { return f == 4 ? Picture() : s.image(f); }
    Picture ignore(int f) const override { return s.ignore(f); }
  } frames;
  frames.s.ignored = [](int, double x, double) { return x > 120; };
  const auto in = feature_paths(frames);
  ASSERT_TRUE(in);
  for (const FeaturePath& p : in->paths) {
    EXPECT_FALSE(p.seen(4));
    for (const Point& q : p.at) EXPECT_LT(q.x(), 120);
  }
}

TEST(PlaneGroups, OnePlaneIsOneGroup) {
  const Scene s = handheld();
  const auto in = feature_paths(s);
  ASSERT_TRUE(in);
  const auto groups = plane_groups(*in, {1, 3, 6}, serial());
  ASSERT_EQ(groups.size(), 1u);
  EXPECT_GT(groups[0].paths.size(), 0.9 * double(in->paths.size()));
  EXPECT_EQ(groups[0].frame_from_base.size(), 6u);
  for (const auto& [f, h] : groups[0].frame_from_base)
    for (const Point& p : drawn::box(40, 40, 160, 120))
      EXPECT_LT((map(h, p) - map(s.frame_from_ref(f, groups[0].base), p)).norm(), 0.2) << f;
}

}  // namespace pw::feature_paths_test
