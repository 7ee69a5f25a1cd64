#include "track/texture.h"

#include <gtest/gtest.h>

#include <cmath>

#include "tests/track/drawn.h"

namespace pw::texture_test {

using drawn::Scene;
const std::vector<Point> kRegion = drawn::box(50, 40, 150, 120);

Scene swaying() {
  Scene s;
  s.to = 9, s.fine = 1;
  s.frame_from_plane = [](double t) { return drawn::handheld(2.5 * std::sin((t - 1) / 2)); };
  return s;
}

// The texture of all frames, seen where they truly are.
Picture texture_of(const Scene& s, const Picture& reference, const Runner& runner = serial()) {
  const Reference r(reference, {}, kRegion, runner);
  std::vector<TextureView> views;
  for (int f = s.from; f <= s.to; ++f) {
    Alignment a;
    a.frame_from_ref = s.frame_from_ref(f, 1);
    views.push_back(texture_view(r, f == 1 ? reference : s.image(f), Blocked(s.ignore(f), kIgnoreGrow), a, {}, {}));
  }
  return clean_texture(r, reference, views, runner);
}

// RMS difference in code values inside a box.
double differ(const Picture& a, const Picture& b, const Rect& box) {
  double sum = 0;
  for (int y = box.y0; y < box.y1; ++y)
    for (int x = box.x0; x < box.x1; ++x)
      for (int c = 0; c < 3; ++c) {
        const double d = drawn::encode(a.at(x, y)[c]) - drawn::encode(b.at(x, y)[c]);
        sum += d * d;
      }
  return std::sqrt(sum / (3 * box.area()));
}

const Rect kInside{50, 40, 150, 120};

TEST(Texture, ExactFramesLeaveItAsItIs) {
  const Scene s = swaying();
  const Picture reference = s.image(1), texture = texture_of(s, reference);
  EXPECT_LT(differ(texture, reference, kInside), 0.0015);
  EXPECT_TRUE(same_bits(texture.cropped({0, 0, 200, 40}), reference.cropped({0, 0, 200, 40})));
}

TEST(Texture, NoiseNearlyCancels) {
  Scene s = swaying();
  const Picture clean = s.image(1);
  s.grain = 0.04;
  const Picture reference = s.image(1);
  const double before = differ(reference, clean, kInside), after = differ(texture_of(s, reference), clean, kInside);
  EXPECT_GT(before, 0.035);
  EXPECT_LT(after, 0.5 * before);
}

// In the reference and in two frames more something stands in front; and one frame is of another place.
TEST(Texture, WhatFewFramesShowCountsForLittle) {
  Scene s = swaying();
  const Picture clean = s.image(1);
  s.grain = 0.005;
  s.cover = [](double t, double x, double y, float* rgb) {
    const bool there = t < 3.5 && std::hypot(x - 80 - 2 * t, y - 80) < 18;
    if (there || (t > 5.5 && t < 6.5)) drawn::texture(1.3 * y + 900, 0.8 * x, rgb);
    return there || (t > 5.5 && t < 6.5);
  };
  const Picture reference = s.image(1);
  const Rect hidden{70, 70, 94, 90};
  EXPECT_GT(differ(reference, clean, hidden), 0.1);
  EXPECT_LT(differ(texture_of(s, reference), clean, hidden), 0.012);
}

TEST(Texture, IgnoredAndUnseenPixelsAreNotUsed) {
  Scene s = swaying();
  s.cover = [](double t, double, double y, float* rgb) {
    if (t < 1.5 || y > 80) return false;
    rgb[0] = rgb[1] = rgb[2] = 0.9f;
    return true;
  };
  s.ignored = [](int f, double, double y) { return f > 1 && y < 81; };
  const Picture reference = s.image(1), texture = texture_of(s, reference);
  const Rect upper{50, 40, 150, 70};
  EXPECT_TRUE(same_bits(texture.cropped(upper), reference.cropped(upper)));
}

TEST(Texture, SameBytesWithAnyRunner) {
  Scene s = swaying();
  s.grain = 0.03, s.to = 5;
  const Picture reference = s.image(1), one = texture_of(s, reference);
  const auto two = arena(2), mixed = shuffled(5);
  EXPECT_TRUE(same_bits(texture_of(s, reference, *two), one));
  EXPECT_TRUE(same_bits(texture_of(s, reference, *mixed), one));
}

TEST(Texture, FramesThatShowItWell) {
  Motion m{640, 480, 1, drawn::box(100, 100, 300, 250), {}};
  for (int f = 1; f <= 40; ++f) {
    Pose p{f, translation(0.5 * f, 0)};
    p.corner_covariance.assign(64, 0.0);
    for (int i = 0; i < 8 && f > 1; ++i) p.corner_covariance[9 * i] = 1e-4;
    m.poses.push_back(p);
  }
  const auto pose = [&](int f) -> Pose& { return m.poses[f - 1]; };
  pose(5).status = TrackStatus::weak;
  pose(6).status = TrackStatus::lost;
  for (int i = 0; i < 8; ++i) pose(9).corner_covariance[9 * i] = 1e-3;
  for (int f = 20; f <= 29; ++f) pose(f).frame_from_ref = pose(f).frame_from_ref * scaling(0.8, 0.8);
  const std::vector<int> all = texture_frames(m, 180, 40);
  for (int f : {1, 5, 6, 9, 20, 29}) EXPECT_EQ(std::count(all.begin(), all.end(), f), 0) << f;
  for (int f : {2, 4, 7, 10, 15, 35, 40}) EXPECT_EQ(std::count(all.begin(), all.end(), f), 1) << f;
  const std::vector<int> few = texture_frames(m, 180, 6);
  EXPECT_EQ(few.size(), 6u);
  EXPECT_EQ(few.front(), 2);
  EXPECT_EQ(few.back(), 40);
}

}  // namespace pw::texture_test
