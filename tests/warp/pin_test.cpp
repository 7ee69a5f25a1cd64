#include "warp/pin.h"

#include <gtest/gtest.h>

#include <Eigen/LU>

#include <cmath>

#include "base/motion.h"
#include "tests/warp/drawn.h"

namespace pw {
namespace {

const std::vector<Point> kRegion = {Point(40, 30), Point(260, 40), Point(250, 170), Point(50, 160)};

// The plane's true place at any time, by formula; the tool sees whole frames of it.
using Course = std::function<Matrix3(double)>;

Motion sampled(const Course& course, int first, int last) {
  Motion m{300, 200, 0, kRegion, {}};
  const Matrix3 to_reference = course(0).inverse();
  for (int f = first; f <= last; ++f) m.poses.push_back({f, normalised(course(f) * to_reference)});
  return m;
}

Course slide(double vx, double vy) {
  return [=](double t) { return translation(vx * t, vy * t); };
}
Course turning_zoom() {
  return [](double t) {
    const double a = 0.02 * t, s = 1 + 0.01 * t;
    Matrix3 r;
    r << s * std::cos(a), -s * std::sin(a), 3 * t, s * std::sin(a), s * std::cos(a), -2 * t + 0.1 * t * t, 1e-5 * t,
        -2e-5 * t, 1;
    return Matrix3(translation(150, 100) * r * translation(-150, -100));
  };
}

// What a camera sees of the texture at frame f: the mean over its shutter of the texture through the true course.
Picture filmed(const Course& course, int f, double shutter_deg, const Rect& r) {
  const int n = shutter_deg > 0 ? 160 : 1;
  std::vector<Matrix3> back;
  for (int i = 0; i < n; ++i) back.push_back(course(f + shutter_deg / 720 * (2 * i + 1 - n) / n).inverse());
  return draw(r, 3, [&](double x, double y, int k) {
    double sum = 0;
    for (const Matrix3& h : back) {
      const Point p = map(h, Point(x, y));
      sum += texture(p.x(), p.y(), k);
    }
    return static_cast<float>(sum / n);
  });
}

const Rect kStill{-60, -60, 360, 260}, kOut = Rect::sized(300, 200), kCore{20, 20, 280, 180};

TEST(Pin, AtItsOwnFrameTheStillComesBack) {
  const Motion m = sampled(turning_zoom(), -4, 8);
  const Picture still = noise_picture(kStill, 4);
  for (int f : {0, 3}) {
    const auto q = pin(still, {m, f, 180, f, {f}, 180, {}}, kOut);
    ASSERT_TRUE(q);
    EXPECT_TRUE(same_bits(*q, still.cropped(kOut))) << f;
  }
}

TEST(Pin, SharpStillIsSmearedAsTheShutterDoes) {
  for (const Course& course : {slide(0, 0), slide(1.3, 0.4), slide(12, 5), slide(-40, 3), turning_zoom()}) {
    const Motion m = sampled(course, -4, 8);
    const Picture still = filmed(course, 0, 0, kStill);
    const auto q = pin(still, {m, 3, 180, 0, {}, 0, {}}, kOut);
    ASSERT_TRUE(q);
    // Where the whole path lies on the still.
    const Picture truth = filmed(course, 3, 180, kOut);
    const Rect seen = *mapped_bounds(course(3), kStill);
    const Rect r = intersect(kCore, seen.grown(-30));
    ASSERT_GT(r.area(), 1000);
    EXPECT_GT(psnr(*q, truth, r), 55) << course(1);
    // And sharp it would not do.
    const auto sharp = pin(still, {m, 3, 0, 0, {}, 0, {}}, kOut);
    std::printf("sharp %.1f smeared %.1f dB\n", psnr(*sharp, truth, r), psnr(*q, truth, r));
  }
}

}  // namespace
}  // namespace pw
