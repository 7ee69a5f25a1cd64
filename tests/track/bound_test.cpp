#include "track/bound.h"

#include <gtest/gtest.h>

#include <cmath>

#include "tests/track/drawn.h"

namespace pw::bound_test {

Picture coded(const Picture& linear) {
  Canvas c(linear.window(), linear.channels());
  for (int y = 0; y < linear.window().y1; ++y)
    for (int i = 0; i < linear.window().x1 * linear.channels(); ++i)
      c.row(y)[i] = float(drawn::encode(linear.row(y)[i]));
  return std::move(c).finish();
}
Picture even(const Rect& w, float v) {
  const float value[] = {v, v, v};
  return Canvas::filled(w, 3, value).finish();
}

BoundInput input(float reference_sigma, float frame_sigma, const Matrix3& h) {
  drawn::Scene s;
  s.to = 2;
  s.frame_from_plane = [h](double t) { return t > 1.5 ? h : Matrix3(Matrix3::Identity()); };
  const Rect w = Rect::sized(s.width, s.height);
  return {coded(s.image(1)),           coded(s.image(2)), even(w, reference_sigma), even(w, frame_sigma), {}, h,
          drawn::box(50, 40, 150, 120)};
}

TEST(Bound, GrowsWithNoiseAndCountsBothPictures) {
  const Matrix3 h = drawn::handheld(1);
  const double both = *corner_bound(input(0.01f, 0.01f, h));
  EXPECT_GT(both, 0.002);
  EXPECT_LT(both, 0.2);
  EXPECT_NEAR(*corner_bound(input(0.02f, 0.02f, h)), 2 * both, 1e-3 * both);
  // With a clean reference only the frame's noise is left: 1 / sqrt 2.
  EXPECT_NEAR(*corner_bound(input(1e-6f, 0.01f, h)), both / std::sqrt(2.0), 0.05 * both);
}

TEST(Bound, AgreesWithTheFormulaForAShift) {
  // One direction of a wave, known light and a shift alone would give sigma / sqrt(sum of squared gradients); eight
  // numbers and light cost more, so that is a floor.
  const BoundInput in = input(0.01f, 0.01f, Matrix3::Identity());
  double squares = 0;
  for (int y = 40; y < 120; ++y)
    for (int x = 50; x < 150; ++x)
      for (int c = 0; c < 3; ++c) {
        const double g = 0.5 * (in.frame.at(x + 1, y)[c] - in.frame.at(x - 1, y)[c]);
        squares += g * g;
      }
  EXPECT_GT(*corner_bound(in), 0.01 * std::sqrt(2.0) / std::sqrt(squares));
}

TEST(Bound, HiddenPixelsTellNothing) {
  BoundInput in = input(0.01f, 0.01f, Matrix3::Identity());
  const double open = *corner_bound(in);
  Canvas c = Canvas::clear(in.frame.window(), 1);
  for (int y = 0; y < 160; ++y)
    for (int x = 0; x < 100; ++x) *c.at(x, y) = 1;
  in.hidden = std::move(c).finish();
  EXPECT_GT(*corner_bound(in), 1.4 * open);
}

TEST(Bound, FlatRegionHasNone) {
  BoundInput in = input(0.01f, 0.01f, Matrix3::Identity());
  in.frame = in.reference = even(in.frame.window(), 0.5f);
  EXPECT_FALSE(corner_bound(in));
}

}  // namespace pw::bound_test
