#include "track/camera.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>

#include "base/random.h"

namespace pw::camera_test {

// A camera over the ground, worked out here from scratch: x right, y down, z ahead.
struct Truth {
  double focal = 820, height = 2.8, tilt = 12, roll = 1.5;
  double unit = 1;   // Metres of the plane's lengths.
  double noise = 0;  // Of the clicked points, pixels.
  int frames = 8;
  Stands stands = Stands::ground;
  std::vector<Point> plane{{-3, 6}, {3, 6}, {4, 14}, {-4, 14}, {0, 9}};

  Matrix3 image_from_plane(int f) const {
    const double t = f - 1, rad = M_PI / 180;
    Matrix3 k;
    k << focal, 0, 480, 0, focal, 270, 0, 0, 1;
    const Matrix3 turned = (Eigen::AngleAxisd(0.01 * t, Eigen::Vector3d::UnitY()) *
                            Eigen::AngleAxisd(-(tilt + 0.4 * t) * rad, Eigen::Vector3d::UnitX()) *
                            Eigen::AngleAxisd(roll * rad, Eigen::Vector3d::UnitZ()))
                               .toRotationMatrix();
    const Eigen::Vector3d eye(0.1 * t * unit, -(height + 0.02 * t) * unit, 0);
    Matrix3 m;
    if (stands == Stands::ground)
      m << Eigen::Vector3d(1, 0, 0), Eigen::Vector3d(0, 0, 1), -eye;
    else
      m << Eigen::Vector3d(1, 0, 0), Eigen::Vector3d(0, -1, 0), Eigen::Vector3d(0, 0, 10 * unit) - eye;
    return k * turned.transpose() * m;
  }
  Motion motion() const {
    Motion m{960, 540, 1, {}, {}};
    for (int i = 0; i < 4; ++i) m.region.push_back(map(image_from_plane(1), plane[i] * unit));
    for (int f = 1; f <= frames; ++f)
      m.poses.push_back({f, normalised(image_from_plane(f) * image_from_plane(1).inverse())});
    return m;
  }
  CameraOptions options(int draw = 0) const {
    CameraOptions o;
    o.stands = stands;
    for (size_t i = 0; i < plane.size(); ++i) {
      const RandomBits b = random_bits(31, draw, int(i), 0);
      const auto g = gauss(b[0], b[1]);
      o.plane_points.push_back(plane[i] * unit);
      o.image_points.push_back(map(image_from_plane(1), plane[i] * unit) + noise * Point(g[0], g[1]));
    }
    return o;
  }
};

TEST(Camera, ExactAndScaled) {
  for (double unit : {1.0, 1e6, 1e-6}) {
    Truth t;
    t.unit = unit;
    const auto c = find_camera(t.motion(), t.options());
    ASSERT_TRUE(c) << to_string(c.error());
    EXPECT_NEAR(c->focal_px, 820, 0.01);
    EXPECT_NEAR(c->height_m / unit, 2.8, 1e-4);
    EXPECT_NEAR(c->tilt_deg, 12, 1e-3);
    EXPECT_NEAR(c->roll_deg, 1.5, 1e-3);
    EXPECT_LT(c->residual_px, 0.01);
    EXPECT_EQ(c->doubt, "");
    // Its ground is the plane's, up to where (0, 0) lies and which way is ahead.
    EXPECT_NEAR(c->image_of(0.5 * unit, 9 * unit, 0).y(), map(t.image_from_plane(1), Point(0.5, 9) * unit).y(), 0.05);
    // The horizon: a point infinitely far ahead.
    const Eigen::Vector3d far = t.image_from_plane(1).col(1);
    EXPECT_NEAR(c->horizon_y(far.x() / far.z()), far.y() / far.z(), 0.05);
    // Something as tall as the camera is high reaches the horizon.
    const Point foot(500, 430);
    EXPECT_FALSE(c->size_px({500, 10}, 1));
    EXPECT_NEAR(*c->size_px(foot, 2.8 * unit) / (430 - c->horizon_y(500)), 1, 0.03);
  }
}

TEST(Camera, AnUprightPlaneSeenFromBelow) {
  Truth t;
  t.stands = Stands::upright;
  t.tilt = -20;
  t.plane = {{-3, 0}, {3, 0}, {3, 5}, {-3, 5}};
  const auto c = find_camera(t.motion(), t.options());
  ASSERT_TRUE(c) << to_string(c.error());
  EXPECT_NEAR(c->focal_px, 820, 0.1);
  EXPECT_NEAR(c->height_m, 2.8, 1e-3);
  EXPECT_NEAR(c->tilt_deg, -20, 0.01);
}

TEST(Camera, NoisyClicksAreAsWrongAsItSays) {
  Truth t;
  t.noise = 0.5;
  double focal = 0, height = 0;
  constexpr int kDraws = 60;
  for (int i = 0; i < kDraws; ++i) {
    CameraOptions o = t.options(i);
    o.click_px = 0.5;
    const auto c = find_camera(t.motion(), o);
    ASSERT_TRUE(c) << to_string(c.error());
    EXPECT_NEAR(c->focal_px, 820, 0.06 * 820);
    focal += std::pow((c->focal_px - 820) / c->focal_sd_px, 2) / kDraws;
    height += std::pow((c->height_m - 2.8) / c->height_sd_m, 2) / kDraws;
  }
  EXPECT_GT(focal, 0.3);
  EXPECT_LT(focal, 1.7);
  EXPECT_GT(height, 0.3);
  EXPECT_LT(height, 1.7);
}

TEST(Camera, AGivenFocalLengthStays) {
  Truth t;
  t.stands = Stands::upright, t.tilt = 0, t.roll = 0, t.frames = 1;
  t.plane = {{-3, 0}, {3, 0}, {3, 4}, {-3, 4}};
  CameraOptions o = t.options();
  o.focal_px = 820;
  const auto c = find_camera(t.motion(), o);
  ASSERT_TRUE(c) << to_string(c.error());
  EXPECT_EQ(c->focal_px, 820);
  EXPECT_EQ(c->focal_sd_px, 0);
  EXPECT_NEAR(c->height_m, 2.8, 1e-3);
}

TEST(Camera, WhatFixesNothingIsRefused) {
  Truth t;
  const auto said = [](const Result<Camera>& c) {
    return c ? std::string("a camera") : c.error().front().what + "; " + c.error().front().remedy;
  };
  t.stands = Stands::upright, t.tilt = 0, t.roll = 0, t.frames = 1;
  t.plane = {{-3, 0}, {3, 0}, {3, 4}, {-3, 4}};
  const std::string square = said(find_camera(t.motion(), t.options()));
  EXPECT_TRUE(square.starts_with("the plane does not fix the focal length: ")) << square;
  EXPECT_TRUE(square.ends_with("; it is seen too squarely: use one that runs away from the camera, or say focal_px"))
      << square;
  Truth g;
  CameraOptions o = g.options();
  o.plane_points.pop_back();
  EXPECT_EQ(said(find_camera(g.motion(), o)),
            "there are 5 points in the frame and 4 on the plane; say for each point of the frame where it is on the "
            "plane, in the same order");
  o.image_points.resize(3), o.plane_points.resize(3);
  EXPECT_EQ(said(find_camera(g.motion(), o)), "3 points do not fix a camera; give 4 or more");
  o.image_points = o.plane_points = {{1, 1}, {2, 2}, {3, 3}, {4, 4}};
  EXPECT_EQ(said(find_camera(g.motion(), o)),
            "the points do not fix how the plane is seen; spread them over it, no three on a line");
  o = g.options();
  for (Point& p : o.plane_points) p.x() = -p.x();
  EXPECT_EQ(said(find_camera(g.motion(), o)),
            "the camera would stand below the ground; check the order of the points and which way the plane lies");
}

}  // namespace pw::camera_test
