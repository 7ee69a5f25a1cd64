#include "track/camera_two_planes.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>

#include "base/random.h"

namespace pw::camera_two_planes_test {

// A camera that moves past two planes, worked out here from scratch: x right, y down, z ahead, the ground at y = 0.
// The camera starts above the origin, all lengths are `unit` metres.
struct Truth {
  double focal = 820, height = 2.8, tilt = 9, roll = 1.5, yaw = 30;  // Yaw: of the wall, degrees.
  double unit = 1, noise = 0;                                        // Of the corners, pixels.
  double travel = 1, turn = 1;
  int frames = 24, second_reference = 1;
  Stands first = Stands::ground, second = Stands::upright;
  double other_yaw = -60;                // Of the first plane where both are upright.
  std::optional<Eigen::Vector3d> along;  // Travels that way alone, without turning.

  Matrix3 world_from_plane(Stands stands, double yaw_deg) const {
    Matrix3 m;
    const double a = yaw_deg * M_PI / 180;
    if (stands == Stands::ground)
      m << Eigen::Vector3d(1, 0, 0), Eigen::Vector3d(0, 0, 1), Eigen::Vector3d(0, 0, 0);
    else
      m << Eigen::Vector3d(std::cos(a), 0, std::sin(a)), Eigen::Vector3d(0, -1, 0), Eigen::Vector3d(0, 0, 12);
    m.col(2) *= unit;
    return m;
  }
  Matrix3 image_from_plane(const Matrix3& world_from_plane, int f) const {
    const double t = (f - 1) / 23.0, rad = M_PI / 180;
    Matrix3 k;
    k << focal, 0, 480, 0, focal, 270, 0, 0, 1;
    const double side = std::sin(2.5 * t), on = 1 - std::cos(2.2 * t);
    const double turned = along ? 0 : turn;
    const Matrix3 world_from_camera = (Eigen::AngleAxisd(turned * -0.12 * side, Eigen::Vector3d::UnitY()) *
                                       Eigen::AngleAxisd(-(tilt + turned * 3 * on) * rad, Eigen::Vector3d::UnitX()) *
                                       Eigen::AngleAxisd((roll + turned * 2 * side) * rad, Eigen::Vector3d::UnitZ()))
                                          .toRotationMatrix();
    Eigen::Vector3d eye(1.6 * side * travel, -height - 0.3 * travel * side * on, 0.9 * on * travel);
    if (along) eye = Eigen::Vector3d(0, -height, 0) + t * *along;
    Matrix3 m = world_from_plane;
    m.col(2) -= unit * eye;
    return k * world_from_camera.transpose() * m;
  }
  Point error(int draw, int frame, size_t corner) const {
    const RandomBits b = random_bits(77, draw, int(corner), 0, uint32_t(frame));
    const auto g = gauss(b[0], b[1]);
    return noise * Point(g[0], g[1]);
  }
  Motion motion(const Matrix3& plane, const std::vector<Point>& region, int reference, int draw) const {
    Motion m{960, 540, reference, {}, {}};
    for (const Point& p : region) m.region.push_back(map(image_from_plane(plane, reference), p * unit));
    for (int f = 1; f <= frames; ++f) {
      Quad from, to;
      for (size_t i = 0; i < 4; ++i) {
        // The reference's own error, which all frames share, and the frame's.
        const Matrix3 frame_from_ref = image_from_plane(plane, f) * image_from_plane(plane, reference).inverse();
        from[i] = m.region[i];
        to[i] = f == reference ? from[i] : map(frame_from_ref, from[i] + error(draw, 0, i)) + error(draw, f, i);
      }
      Pose p{f, normalised(*homography(from, to))};
      p.corner_covariance.assign(64, 0);
      for (size_t i = 0; i < 8; ++i) p.corner_covariance[9 * i] = 2 * std::max(noise * noise, 1e-4);
      m.poses.push_back(std::move(p));
    }
    return m;
  }
  static std::vector<Point> region(Stands stands) {
    if (stands == Stands::ground) return {{-3, 11}, {3.5, 10}, {2.5, 6}, {-2, 6.5}};
    return {{-4, 4}, {3.5, 4}, {3.5, 0.4}, {-4, 0.5}};
  }
  Motion first_motion(int draw = 0) const {
    return motion(world_from_plane(first, other_yaw), region(first), 1, 2 * draw);
  }
  Motion second_motion(int draw = 0) const {
    auto r = region(second);
    if (first == second)  // Beside the first: they meet in a corner before the camera.
      for (Point& p : r) p.x() = 0.5 * p.x() + 2.2;
    return motion(world_from_plane(second, yaw), r, second_reference, 2 * draw + 1);
  }
  TwoPlanesOptions options() const {
    TwoPlanesOptions o;
    o.first = first, o.second = second;
    for (const Point& p : region(first)) {
      o.plane_points.push_back(p * unit);
      o.image_points.push_back(map(image_from_plane(world_from_plane(first, other_yaw), 1), p * unit));
    }
    return o;
  }
  Result<Camera> found(int draw = 0) const { return find_camera(first_motion(draw), second_motion(draw), options()); }
};

std::string said(const Result<Camera>& c) {
  return c ? "a camera of " + std::to_string(c->focal_px) + " +- " + std::to_string(c->focal_sd_px)
           : c.error().front().what + "; " + c.error().front().remedy;
}

void expect_exact(const Truth& t) {
  const auto c = t.found();
  ASSERT_TRUE(c) << to_string(c.error());
  EXPECT_NEAR(c->focal_px / t.focal, 1, 1e-6);
  EXPECT_NEAR(c->height_m / t.unit, t.height, 1e-5);
  EXPECT_NEAR(c->tilt_deg, t.tilt, 1e-4);
  EXPECT_NEAR(c->roll_deg, t.roll, 1e-4);
  EXPECT_LT(c->residual_px, 1e-5);
  EXPECT_EQ(c->frame, 1);
  EXPECT_EQ(c->doubt, "");
}

TEST(CameraTwoPlanes, ExactAndScaled) {
  for (double unit : {1.0, 1e6, 1e-6}) {
    SCOPED_TRACE(unit);
    Truth t;
    t.unit = unit;
    expect_exact(t);
    // The horizon: a point infinitely far ahead.
    const auto c = t.found();
    const Eigen::Vector3d far = t.image_from_plane(t.world_from_plane(Stands::ground, 0), 1).col(1);
    EXPECT_NEAR(c->horizon_y(far.x() / far.z()), far.y() / far.z(), 1e-3);
  }
}

TEST(CameraTwoPlanes, WideAndLong) {
  for (double focal : {450.0, 2400.0}) {
    SCOPED_TRACE(focal);
    Truth t;
    t.focal = focal;
    if (focal > 2000) t.tilt = 15, t.height = 3;
    expect_exact(t);
  }
}

TEST(CameraTwoPlanes, AWallWithTheGroundOrAnotherWall) {
  Truth t;
  t.first = Stands::upright, t.second = Stands::ground;
  expect_exact(t);
  t.second = Stands::upright;
  expect_exact(t);
}

TEST(CameraTwoPlanes, MeasuredFromDifferentReferences) {
  Truth t;
  t.second_reference = 13;
  expect_exact(t);
}

TEST(CameraTwoPlanes, NoisyTracksAreAsWrongAsItSays) {
  Truth t;
  t.noise = 0.1;
  double focal = 0, height = 0, tilt = 0;
  constexpr int kDraws = 50;
  for (int i = 0; i < kDraws; ++i) {
    const auto c = t.found(i);
    ASSERT_TRUE(c) << to_string(c.error());
    focal += std::pow((c->focal_px - 820) / c->focal_sd_px, 2) / kDraws;
    height += std::pow((c->height_m - 2.8) / c->height_sd_m, 2) / kDraws;
    tilt += std::pow((c->tilt_deg - t.tilt) / c->tilt_sd_deg, 2) / kDraws;
  }
  for (double share : {focal, height, tilt}) {
    EXPECT_GT(share, 0.3);
    EXPECT_LT(share, 1.7);
  }
}

// Whatever the scene: a camera as wrong as it says, or none.
TEST(CameraTwoPlanes, ManyScenes) {
  int found = 0;
  constexpr int kScenes = 40;
  for (int i = 0; i < kScenes; ++i) {
    const RandomBits a = random_bits(3, i, 0, 0), b = random_bits(3, i, 1, 0);
    Truth t;
    t.noise = 0.1;
    t.focal = 500 * std::pow(4.0, uniform(a[0]));
    t.tilt = 2 + 18 * uniform(a[1]), t.roll = 8 * uniform(a[2]) - 4, t.yaw = 100 * uniform(a[3]) - 50;
    t.travel = 0.5 + uniform(b[0]), t.turn = 1.5 * uniform(b[1]);
    if (b[2] & 1) t.first = Stands::upright, t.second = Stands::ground;
    const auto c = t.found(100 + i);
    if (!c) continue;
    ++found;
    SCOPED_TRACE(i);
    EXPECT_NEAR(c->focal_px, t.focal, 4.5 * c->focal_sd_px);
    EXPECT_NEAR(c->tilt_deg, t.tilt, 4.5 * c->tilt_sd_deg);
    EXPECT_NEAR(c->height_m, t.height, 4.5 * c->height_sd_m);
  }
  EXPECT_GT(found, kScenes * 9 / 10);
}

TEST(CameraTwoPlanes, AGivenFocalLengthStays) {
  Truth t;
  t.noise = 0.1;
  TwoPlanesOptions o = t.options();
  const auto free = find_camera(t.first_motion(), t.second_motion(), o);
  o.focal_px = 820;
  const auto c = find_camera(t.first_motion(), t.second_motion(), o);
  ASSERT_TRUE(c) << to_string(c.error());
  ASSERT_TRUE(free);
  EXPECT_EQ(c->focal_px, 820);
  EXPECT_EQ(c->focal_sd_px, 0);
  EXPECT_NEAR(c->height_m, 2.8, 4 * c->height_sd_m);
  EXPECT_LT(c->tilt_sd_deg, free->tilt_sd_deg);
}

TEST(CameraTwoPlanes, WhatFixesNothingIsRefused) {
  const std::string one =
      "the two planes move as one, within 0.0 px: the camera stands still or only turns, or they are one plane; take "
      "two planes of a shot whose camera travels, or one plane with four known points";
  Truth still;
  still.travel = still.turn = 0;
  EXPECT_EQ(said(still.found()), one);
  Truth turning;
  turning.travel = 0;
  EXPECT_EQ(said(turning.found()), one);
  const Truth t;
  EXPECT_EQ(said(find_camera(t.first_motion(), t.first_motion(), t.options())), one);

  Truth level;  // Along both planes, of which it sees the wall squarely.
  level.tilt = level.roll = level.yaw = 0, level.along = Eigen::Vector3d(2, 0, 0);
  const std::string square = said(level.found());
  EXPECT_TRUE(square.starts_with("the two planes do not fix the focal length: ")) << square;
  EXPECT_TRUE(square.ends_with(
      "; let the camera travel farther, across and towards the planes, or say focal_px, or take one plane with four "
      "known points"))
      << square;

  Truth lift;  // Along two walls whose angle is not known: upwards.
  lift.first = Stands::upright, lift.along = Eigen::Vector3d(0, -2, 0);
  EXPECT_TRUE(said(lift.found()).starts_with("the two planes do not fix the focal length: ")) << said(lift.found());

  Truth parallel;
  parallel.first = Stands::upright, parallel.other_yaw = parallel.yaw;
  Motion nearer = parallel.motion(
      [&] {
        Matrix3 m = parallel.world_from_plane(Stands::upright, parallel.yaw);
        m.col(2).z() -= 3;
        return m;
      }(),
      Truth::region(Stands::upright), 1, 1);
  EXPECT_TRUE(said(find_camera(parallel.first_motion(), nearer, parallel.options()))
                  .starts_with("the two planes are parallel, or as good as: at 0 degrees"))
      << said(find_camera(parallel.first_motion(), nearer, parallel.options()));
  TwoPlanesOptions o = parallel.options();
  o.square = true;
  const std::string wrong = said(find_camera(parallel.first_motion(), nearer, o));
  EXPECT_FALSE(wrong.starts_with("a camera")) << wrong;
}

TEST(CameraTwoPlanes, NonsenseIsRefused) {
  const Truth t;
  for (double scale : {0.0, 1e-3, 1e12}) {
    Motion first = t.first_motion(), second = t.second_motion();
    for (Motion* m : {&first, &second})
      for (Pose& p : m->poses)
        for (int i = 0; i < 9; ++i) {
          const RandomBits b = random_bits(5, p.frame, i, m == &first);
          p.frame_from_ref(i / 3, i % 3) = scale * (uniform(b[0]) - 0.5);
        }
    EXPECT_FALSE(find_camera(first, second, t.options())) << scale;
  }
  Motion small = t.second_motion();
  small.width = 480;
  EXPECT_EQ(said(find_camera(t.first_motion(), small, t.options())),
            "the two planes were followed in pictures of different sizes; measure both in one plate");
}

TEST(CameraTwoPlanes, MistakesInWords) {
  const Truth t;
  TwoPlanesOptions o = t.options();
  const auto told = [&] { return said(find_camera(t.first_motion(), t.second_motion(), o)); };
  o.plane_points.pop_back();
  EXPECT_EQ(told(),
            "there are 4 points in the frame and 3 on the plane; say for each point of the frame where it is on the "
            "plane, in the same order");
  o.image_points = o.plane_points = {{1, 1}, {1, 1}};
  EXPECT_EQ(told(), "no length is known on the first plane; give 2 or more points, apart");
  o = t.options();
  o.second = Stands::ground;
  EXPECT_EQ(told(), "two planes on the ground are one plane, or parallel; take an upright one");
  o = t.options();
  o.plane_points[0].x() += 4;
  const auto c = find_camera(t.first_motion(), t.second_motion(), o);
  ASSERT_TRUE(c) << to_string(c.error());
  EXPECT_TRUE(c->doubt.ends_with("; some of them are wrong")) << c->doubt;
  o = t.options();
  Motion lost = t.second_motion();
  for (Pose& p : lost.poses) p.status = TrackStatus::lost;
  EXPECT_EQ(said(find_camera(t.first_motion(), lost, o)),
            "there is no frame beside the reference in which both planes are good; measure both over the same frames");
  lost.reference = 5;
  EXPECT_EQ(said(find_camera(t.first_motion(), lost, o)),
            "the second plane is not followed in frame 1, the reference of the first; measure both from one reference");
}

}  // namespace pw::camera_two_planes_test
