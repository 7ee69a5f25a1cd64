#include "track/start.h"

#include <gtest/gtest.h>

#include "tests/track/drawn.h"

namespace pw::start_test {

const std::vector<Point> kRegion = drawn::box(40, 30, 160, 130);

double worst(const Matrix3& a, const Matrix3& b) {
  double d = 0;
  for (const Point& c : kRegion) d = std::max(d, (map(a, c) - map(b, c)).norm());
  return d;
}

TEST(Start, FollowsFeaturesFromFrameToFrame) {
  drawn::Scene s;
  s.frame_from_plane = [](double t) { return drawn::handheld(4 * (t - 1)); };
  const FeatureImage a(s.image(1)), b(s.image(2));
  const auto g = follow(a, b, kRegion, {}, Matrix3::Identity());
  ASSERT_TRUE(g);
  EXPECT_LT(worst(g->h, s.frame_from_ref(2, 1)), 1);
  EXPECT_GE(g->inliers, 8);
}

TEST(Start, OnlyUsablePointsAreAsked) {
  drawn::Scene s;
  s.cover = [](double t, double x, double y, float* rgb) {
    if (x > 100) return false;
    drawn::texture(x + 6 * t + 500, y, rgb);
    return true;
  };
  const FeatureImage a(s.image(1)), b(s.image(2));
  const auto g = follow(
      a, b, kRegion, [](const Point& p) { return p.x() > 104; }, Matrix3::Identity());
  ASSERT_TRUE(g);
  EXPECT_LT(worst(g->h, Matrix3::Identity()), 1.5);
}

TEST(Start, FindsTheRegionAgainAfterAJump) {
  drawn::Scene s;
  s.width = 320, s.height = 240;
  s.frame_from_plane = [](double t) {
    return t < 1.5 ? Matrix3(Matrix3::Identity()) : Matrix3(translation(90, 50) * drawn::handheld(5));
  };
  const Finder finder(FeatureImage(s.image(1)), kRegion, {});
  const auto g = finder.find(FeatureImage(s.image(2)));
  ASSERT_TRUE(g);
  EXPECT_LT(worst(g->h, s.frame_from_ref(2, 1)), 2);
}

TEST(Start, FlatPicturesGiveNothing) {
  drawn::Scene s;
  s.paint = [](double, double, float* rgb) { rgb[0] = rgb[1] = rgb[2] = 0.3f; };
  const FeatureImage a(s.image(1));
  EXPECT_FALSE(follow(a, a, kRegion, {}, Matrix3::Identity()));
  EXPECT_FALSE(Finder(a, kRegion, {}).find(a));
  const FeatureImage black(Canvas::clear(Rect::sized(60, 60), 3).finish());
  EXPECT_FALSE(follow(black, black, drawn::box(5, 5, 50, 50), {}, Matrix3::Identity()));
}

}  // namespace pw::start_test
