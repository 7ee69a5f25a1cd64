#include "track/footprint.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>

#include <cmath>

#include "track/spline.h"

namespace pw::footprint_test {

// A picture of a wave as pixels see it: the mean over each unit square, in closed form.
struct Wave {
  double fx, fy;  // Cycles per pixel of the plane.
  static double sinc(double t) { return std::abs(t) < 1e-9 ? 1 : std::sin(M_PI * t) / (M_PI * t); }
  double at(double x, double y) const { return std::cos(2 * M_PI * (fx * x + fy * y) + 0.4); }
  // Mean over the parallelogram of sides u and v about (x, y).
  double mean(double x, double y, const Point& u, const Point& v) const {
    return at(x, y) * sinc(fx * u.x() + fy * u.y()) * sinc(fx * v.x() + fy * v.y());
  }
};

Raster picture(const Wave& w, const Matrix3& plane_from_picture, const Rect& window) {
  Raster r(window);
  for (int y = window.y0; y < window.y1; ++y)
    for (int x = window.x0; x < window.x1; ++x) {
      const Point c(x + 0.5, y + 0.5), p = map(plane_from_picture, c);
      const Eigen::Matrix2d j = jacobian(plane_from_picture, c);
      const float v = float(0.5 + 0.4 * w.mean(p.x(), p.y(), j.col(0), j.col(1)));
      r.at(x, y) = f4{v, 1 - v, 0.25f, 0};
    }
  return r;
}

SplinePicture known(const Raster& spline, bool soft = false) { return {spline, spline_reach(spline.window()), soft}; }

// The plane turned to 62 degrees from frontal: upright lines come together, and the frame has less than half as many
// pixels across as the reference.
Matrix3 turned() {
  const double a = 62 * M_PI / 180, away = 300;
  Matrix3 h;
  h << std::cos(a), 0, 0, 0, 1, 0, std::sin(a) / away, 0, 1;
  return normalised(translation(60, 60) * h * translation(-60, -60));
}

// Once each has the other's footprint, a frame and a reference of one plane are the same picture.
TEST(Footprint, BothSidesAreEqual) {
  Matrix3 zoomed = translation(20, 15) * scaling(1.9, 1.9), spun;
  const double a = 0.9;
  spun << std::cos(a), -std::sin(a), 40, std::sin(a), std::cos(a), -30, 0, 0, 1;
  for (const Matrix3& h : {turned(), zoomed, spun, inverted(zoomed)})
    // Waves of less than a quarter of a cycle per pixel in both pictures; finer ones are aliased.
    for (const Wave& w : {Wave{0.08, 0.05}, Wave{0.02, 0.12}, Wave{0.07, -0.03}}) {
      Raster reference = picture(w, Matrix3::Identity(), {-100, -100, 220, 220});
      Raster frame = picture(w, inverted(h), {-160, -160, 300, 300});
      to_spline(reference);
      for (bool soft : {true, false}) {
        if (!soft) to_spline(frame);
        Raster ours(Rect{30, 30, 90, 90}), theirs(Rect{30, 30, 90, 90});
        see_reference(known(reference), h, Path{}, soft, ours, serial());
        see_frame(known(frame, soft), h, Path{}, theirs, serial());
        double worst = 0;
        for (int y = 30; y < 90; ++y)
          for (int x = 30; x < 90; ++x) {
            ASSERT_EQ(ours.at(x, y)[3], 1);
            ASSERT_EQ(theirs.at(x, y)[3], 1);
            worst = std::max<double>(worst, std::abs(ours.at(x, y)[0] - theirs.at(x, y)[0]));
          }
        EXPECT_LT(worst, 0.01) << soft << " " << w.fx << " " << w.fy << "\n" << h;
      }
    }
}

TEST(Footprint, SmearIsTheMeanOverThePath) {
  const Wave w{0.06, 0.03};
  Raster still = picture(w, Matrix3::Identity(), {0, 0, 140, 100});
  to_spline(still);
  // The same plane seen by a frame with 1.9 times the pixels.
  const Matrix3 zoomed = translation(-20, -15) * scaling(1.9, 1.9);
  Raster large = picture(w, inverted(zoomed), {0, 0, 240, 180});
  to_spline(large);
  for (double way : {0.5, 2.0, 6.0, 19.0}) {
    const Path path{translation(-way / 2, way / 4), translation(way / 2, -way / 4)};
    Raster out(Rect{50, 40, 80, 60}), seen(Rect{50, 40, 80, 60});
    see_reference(known(still), Matrix3::Identity(), path, false, out, serial());
    see_frame(known(large), zoomed, path, seen, serial());
    const double unit = Wave::sinc(w.fx) * Wave::sinc(w.fy), small = Wave::sinc(w.fx / 1.9) * Wave::sinc(w.fy / 1.9);
    const double smeared = 0.4 * unit * Wave::sinc(w.fx * way - w.fy * way / 2);
    for (int y = 40; y < 60; ++y)
      for (int x = 50; x < 80; ++x) {
        const double wave = w.at(x + 0.5, y + 0.5);
        EXPECT_NEAR(out.at(x, y)[0], 0.5 + smeared * wave * unit, 0.003) << way;
        ASSERT_EQ(seen.at(x, y)[3], 1);
        EXPECT_NEAR(seen.at(x, y)[0], 0.5 + smeared * wave * small, 0.003) << way;
      }
  }
}

TEST(Footprint, BothPicturesShowTheSame) {
  // The first two are near enough in size for the short way, the others are not.
  Matrix3 turned = translation(30.3, -12.7) * scaling(1.02, 1.02), slanted = Matrix3::Identity();
  turned = turned * Eigen::AngleAxisd(0.4, Eigen::Vector3d::UnitZ()).toRotationMatrix();
  slanted(2, 0) = 0.001, slanted(0, 1) = 0.2;
  for (const Matrix3& h : {translation(3.4, -2.2), turned, Matrix3(scaling(1.3, 0.8)), slanted})
    for (const Wave& w : {Wave{0.04, 0.02}, Wave{0.13, -0.08}, Wave{0.02, 0.22}}) {
      Raster reference = picture(w, Matrix3::Identity(), {0, 0, 120, 100});
      Raster frame = picture(w, h.inverse(), {0, 0, 160, 120});
      to_spline(reference), to_spline(frame);
      Raster a(Rect{50, 40, 70, 60}), b(Rect{50, 40, 70, 60});
      see_reference(known(reference), h, Path{}, false, a, serial());
      see_frame(known(frame), h, Path{}, b, serial());
      for (int y = 40; y < 60; ++y)
        for (int x = 50; x < 70; ++x) {
          ASSERT_EQ(b.at(x, y)[3], 1);
          EXPECT_NEAR(a.at(x, y)[0], b.at(x, y)[0], 0.009) << w.fx << ' ' << h;
        }
    }
}

TEST(Footprint, OutsideIsMarked) {
  Raster r = picture({0.1, 0}, Matrix3::Identity(), {0, 0, 40, 40});
  to_spline(r);
  Raster out(Rect{-5, -5, 45, 45});
  see_frame(known(r), translation(0.25, 0), Path{}, out, serial());
  EXPECT_EQ(out.at(0, 20)[3], 0);
  EXPECT_EQ(out.at(20, 20)[3], 1);
  EXPECT_EQ(out.at(39, 20)[3], 0);
  EXPECT_EQ(out.at(-5, -5)[0], 0);
  Matrix3 behind = Matrix3::Identity();
  behind(2, 0) = -0.05;  // The line at infinity crosses x = 20.
  see_frame(known(r), behind, Path{}, out, serial());
  EXPECT_EQ(out.at(30, 20)[3], 0);
}

}  // namespace pw::footprint_test
