#include "track/lack.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>

#include "track/matched.h"

namespace pw::lack_test {

constexpr float kEdge = 1e-4f;

Field all(const Rect& w, f4 v) {
  Field f(w);
  f.fill([v](const Point&) { return v; });
  return f;
}

TEST(Blurred, HasTheMomentsOfTheField) {
  const Rect w{0, 0, 41, 41};
  for (const f4& m : {f4{0.2f, 0, 0.1f, 0}, f4{0.15f, 0.1f, 0.2f, 0}, f4{1.1f, -0.4f, 0.6f, 0}}) {
    Raster in(w);
    std::fill_n(in.row(0), w.area(), splat(0));
    in.at(20, 20) = splat(1);
    const Raster out = blurred(in, all(w, m), w, false, serial());
    double sum = 0, xx = 0, xy = 0, yy = 0;
    for (int y = 0; y < 41; ++y)
      for (int x = 0; x < 41; ++x) {
        const double v = out.at(x, y)[0], dx = x - 20, dy = y - 20;
        sum += v, xx += v * dx * dx, xy += v * dx * dy, yy += v * dy * dy;
      }
    EXPECT_NEAR(sum, 1, 1e-5);
    EXPECT_NEAR(xx, m[0], 1e-5);
    EXPECT_NEAR(xy, m[1], 1e-5);
    EXPECT_NEAR(yy, m[2], 1e-5);
  }
}

TEST(Blurred, KeepsNothingThatTouchesTheUnknown) {
  const Rect w{0, 0, 24, 20};
  Raster in(w);
  std::fill_n(in.row(0), w.area(), f4{2, 3, 4, 1});
  in.at(10, 9) = splat(0);
  const Raster out = blurred(in, all(w, f4{0.2f, 0, 0.2f, 0}), w, true, serial());
  EXPECT_EQ(out.at(10, 9)[3], 0);
  EXPECT_EQ(out.at(11, 10)[0], 0);
  EXPECT_NEAR(out.at(13, 9)[0], 2, kEdge);
  EXPECT_NEAR(out.at(13, 9)[3], 1, kEdge);
  // Nothing to be blurred: the same pixels, over another window, too.
  EXPECT_EQ(blurred(in, all(w, splat(0)), {2, 2, 20, 18}, true, serial()).at(5, 5)[2], 4);
}

// A wave on the plane, and a picture of it as a camera's pixels see it while their shutter is open: means over squares
// and ways in closed form, halved as pictures are.
struct Wave {
  double fx, fy;  // Cycles per pixel of the reference's whole size.
  static double sinc(double t) { return std::abs(t) < 1e-9 ? 1 : std::sin(M_PI * t) / (M_PI * t); }
  float mean(const Point& p, const Eigen::Matrix2d& square, const Eigen::Vector2d& way) const {
    const Eigen::Vector2d f(fx, fy);
    const double shade = sinc(f.dot(square.col(0))) * sinc(f.dot(square.col(1))) * sinc(f.dot(way));
    return float(0.5 + 0.3 * shade * std::cos(2 * M_PI * f.dot(p) + 0.4));
  }
};

Picture picture(const Wave& w, const Matrix3& plane_from_picture, const Eigen::Vector2d& way, int width, int height) {
  Canvas c(Rect::sized(width, height), 1);
  for (int y = 0; y < height; ++y)
    for (int x = 0; x < width; ++x) {
      const Point p(x + 0.5, y + 0.5);
      *c.at(x, y) = w.mean(map(plane_from_picture, p), jacobian(plane_from_picture, p), way);
    }
  return std::move(c).finish();
}

Path steady(const Eigen::Vector2d& way) {
  return {translation(-way.x() / 2, -way.y() / 2), translation(way.x() / 2, way.y() / 2)};
}

// What is left between both pictures of a wave at a level, beside the wave's own size there.
struct Left {
  double off = 0, wave = 0;
};
Left left(const Wave& w, const Matrix3& h, const Eigen::Vector2d& home, const Eigen::Vector2d& own, int level,
          const std::function<void(const Lacking&)>& look = {}) {
  const Picture first = picture(w, Matrix3::Identity(), home, 480, 400);
  const Picture second = picture(w, inverted(h), own, 900, 760);
  const auto reference = reference_pyramid(first, {0, 0, 480, 400}, level, serial());
  const Pyramid frame = pyramid(second, {0, 0, 896, 752}, 0, level + 1, false, serial());
  const double s = std::ldexp(1.0, -level);
  const Matrix3 at = normalised(scaling(s, s) * h * scaling(1 / s, 1 / s));
  const Path from = scaled(steady(home), 1 / s), to = scaled(steady(own), 1 / s);
  const Rect window = Rect{int(160 * s), int(140 * s), int(320 * s), int(260 * s)};
  if (look) {
    const auto l = lacking(level, frame.level, at, from, to, window);
    EXPECT_TRUE(l.has_value());
    if (l) look(*l);
  }
  Matched both(reference[level], frame, level, true, from, to, serial());
  const Raster a = both.reference(at, window), b = both.frame(at, window);
  Left left;
  for (int y = window.y0; y < window.y1; ++y)
    for (int x = window.x0; x < window.x1; ++x) {
      EXPECT_EQ(a.at(x, y)[3] * b.at(x, y)[3], 1);
      left.off = std::max<double>(left.off, std::abs(a.at(x, y)[0] - b.at(x, y)[0]));
      left.wave = std::max<double>(left.wave, std::abs(a.at(x, y)[0] - 0.5));
    }
  return left;
}

const Eigen::Vector2d kStill(0, 0);

TEST(Lack, NothingIsLackingWhereBothMoveAlike) {
  Matrix3 turned;
  turned << std::cos(0.4), -std::sin(0.4), 180, std::sin(0.4), std::cos(0.4), 60, 0, 0, 1;
  const Eigen::Vector2d way(14, 6);
  for (const Matrix3& h : {translation(30.4, 22.7), turned}) {
    const Left l = left({0.03, 0.02}, h, way, way, 1, [](const Lacking& k) {
      EXPECT_FALSE(k.reference.sampled);
      EXPECT_EQ(k.frame_level, 1);
      // Only what both get.
      for (const f4& n : k.reference.blur.nodes()) EXPECT_NEAR(n[0] + n[2], 0.5, 1e-3);
      for (const f4& n : k.frame.blur.nodes()) EXPECT_LT(n[0] + n[2], 0.501);
    });
    EXPECT_LT(l.off, 2e-4);
  }
}

TEST(Lack, AFrameFromNearerIsTakenFromACoarserLevel) {
  const Matrix3 near = translation(-60, -40) * scaling(1.9, 1.9);
  for (int level : {1, 2}) {
    const Left l =
        left({0.04, 0.03}, near, kStill, kStill, level, [&](const Lacking& k) { EXPECT_EQ(k.frame_level, level + 1); });
    EXPECT_GT(l.wave, 0.05);
    EXPECT_LT(l.off, 0.02 * l.wave);
  }
}

// Turned, slanted, nearer and further, with every sort of smear: the pictures differ by little of the wave.
TEST(Lack, BothPicturesShowTheSame) {
  Matrix3 slanted = translation(60, 30) * scaling(1.25, 1.1);
  slanted(0, 1) = 0.2, slanted(2, 0) = 0.0004;
  const Eigen::Vector2d small(2, -1), along(12, 5), across(-6, 13), far(30, -8);
  for (const Matrix3& h : {Matrix3(translation(40.3, 20.6)), slanted, Matrix3(translation(80, 60) * scaling(0.8, 0.8))})
    for (const auto& [home, own] : {std::pair(kStill, kStill), std::pair(kStill, small), std::pair(small, along),
                                    std::pair(along, across), std::pair(far, kStill)})
      for (const Wave& w : {Wave{0.02, 0.03}, Wave{0.07, -0.02}, Wave{-0.03, 0.09}}) {
        const Left l = left(w, h, home, own, 1);
        EXPECT_LT(l.off, 0.012) << home.transpose() << ", " << own.transpose() << "\n" << h;
      }
}

// A smear that grows faster has its middle elsewhere than where the plane is in the middle of the time.
TEST(Lack, AnUnevenSmearMovesThePicture) {
  const Path still, uneven{translation(-2.0, 0), translation(4.0, 0)};  // p = 3, q = 1.
  const Picture flat = picture({0.03, 0.01}, Matrix3::Identity(), kStill, 320, 240);
  const Pyramid frame = pyramid(flat, {0, 0, 320, 240}, 1, 1, false, serial());
  const auto straight = lacking(1, frame.level, Matrix3::Identity(), still, still, {20, 20, 60, 60});
  const auto shifted = lacking(1, frame.level, Matrix3::Identity(), uneven, still, {20, 20, 60, 60});
  ASSERT_TRUE(straight && shifted);
  EXPECT_EQ(straight->frame.shift.nodes()[0][0], 0);
  EXPECT_NEAR(shifted->frame.shift.nodes()[0][0], 1 / 3.0, 1e-5);
}

TEST(Lack, TellsWhenMomentsDoNotDo) {
  const Picture p = picture({0.03, 0.01}, Matrix3::Identity(), kStill, 320, 240);
  const Pyramid frame = pyramid(p, {0, 0, 320, 240}, 1, 1, false, serial());
  // Three times as large, and no coarser level there.
  EXPECT_FALSE(lacking(1, frame.level, scaling(3, 3), {}, {}, {4, 4, 40, 30}));
  // The line at infinity crosses the window.
  Matrix3 behind = Matrix3::Identity();
  behind(2, 0) = -0.05;
  EXPECT_FALSE(lacking(1, frame.level, behind, {}, {}, {4, 4, 40, 30}));
}

// A path that leaves for infinity beside the places that are looked at, and one without end, are no ways.
TEST(Lack, EndlessWays) {
  const Picture p = picture({0.03, 0.01}, Matrix3::Identity(), kStill, 320, 240);
  const Pyramid frame = pyramid(p, {0, 0, 320, 240}, 1, 1, false, serial());
  const Rect window{20, 20, 76, 68};
  Path endless{translation(-3e5, 0), translation(3e5, 0)}, gone;
  gone.open(2, 0) = -1 / 36.5;  // Infinity crosses x = 36.5, where the fields have a column of nodes.
  for (const Path& path : {endless, gone}) {
    const auto l = lacking(1, frame.level, Matrix3::Identity(), path, Path{}, window);
    ASSERT_TRUE(l);
    ASSERT_TRUE(l->frame.sampled);
    Raster out(window);
    see_along(frame.level[1].spline, frame.level[1].real, Matrix3::Identity(), l->frame, out, serial());
    for (int y = window.y0; y < window.y1; ++y)
      for (int x = window.x0; x < window.x1; ++x) ASSERT_TRUE(std::isfinite(out.at(x, y)[0]));
  }
}

}  // namespace pw::lack_test
