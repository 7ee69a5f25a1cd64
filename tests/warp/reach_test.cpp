#include <gtest/gtest.h>

#include <Eigen/LU>

#include "tests/warp/drawn.h"
#include "warp/resample.h"

namespace pw::reach_test {

Matrix3 random_map(int seed) {
  auto r = [&, i = 0](double low, double high) mutable { return low + (high - low) * noise(seed, i++, 3); };
  Matrix3 h = Matrix3::Identity();
  const double size = std::exp(r(-3.5, 1.5)), a = r(-3, 3);
  h.topLeftCorner<2, 2>() << size * std::cos(a), -size * std::sin(a) * r(0.3, 1), size * std::sin(a),
      size * std::cos(a) * r(0.3, 1);
  h(2, 0) = r(-0.01, 0.01), h(2, 1) = r(-0.01, 0.01);
  return translation(r(-20, 60), r(-20, 60)) * h * translation(-50, -40);
}

// Whatever stands outside the reach, the result has the same bits.
TEST(Reach, PixelsOutsideNeverMatter) {
  const Rect window{-4, 3, 101, 80};
  const Picture p = noise_picture(window, 1), other = noise_picture(window.moved(1000, 0), 1, 100).moved(-1000, 0);
  int smaller = 0;
  for (int seed = 0; seed < 400; ++seed) {
    const Matrix3 h = random_map(seed);
    ResampleOptions o{Filter(seed % 4), Edge(seed % 3), true, {}};
    const Rect out = Rect::sized(24, 18).moved(seed % 7 * 9 - 20, seed % 5 * 11 - 20);
    const Rect need = source_reach(h, out, window, o);
    ASSERT_TRUE(window.contains(need));
    smaller += need != window;
    Canvas c = Canvas::copy(other, window);
    for (int y = need.y0; y < need.y1; ++y) std::copy_n(p.at(need.x0, y), need.width(), c.at(need.x0, y));
    const Picture whole = resample(p, h, out, o);
    EXPECT_TRUE(same_bits(resample(std::move(c).finish(), h, out, o), whole)) << seed << "\n" << h;
    o.source_window = window;
    EXPECT_TRUE(same_bits(resample(p.cropped(need), h, out, o), whole)) << seed << "\n" << h;
  }
  EXPECT_GT(smaller, 150);
}

// And it is not much more than what is needed: 4 or 6 taps around a shifted rectangle.
TEST(Reach, IsTight) {
  const Rect window = Rect::sized(1000, 1000), out{100, 200, 164, 264};
  EXPECT_EQ(source_reach(translation(0.25, 0.25), out, window, {Filter::sharp}), (Rect{97, 197, 166, 266}));
  EXPECT_EQ(source_reach(translation(0.25, 0.25), out, window, {Filter::linear}), (Rect{99, 199, 164, 264}));
  Matrix3 tilt = translation(3.3, 4.4);
  tilt(2, 0) = 1e-5;
  const Rect r = source_reach(tilt, out, window, {Filter::sharp});
  EXPECT_LT(r.area(), 80 * 80);
  // Shrunk to a half: twice the rectangle and the stretched kernel around it.
  EXPECT_LT(source_reach(scaling(0.5, 0.5), out, window, {Filter::sharp}).area(), 150 * 150);
  EXPECT_TRUE(source_reach(translation(5000, 0), out, window, {Filter::sharp}).empty());
  EXPECT_FALSE(source_reach(translation(5000, 0), out, window, {Filter::sharp, Edge::hold}).empty());
}

TEST(Reach, NothingIsNeededForNothing) {
  EXPECT_TRUE(source_reach(Matrix3::Identity(), Rect{}, Rect::sized(9, 9)).empty());
  EXPECT_TRUE(source_reach(Matrix3::Zero(), Rect::sized(9, 9), Rect::sized(9, 9)).empty());
  EXPECT_TRUE(source_reach(Matrix3::Identity() * std::nan(""), Rect::sized(9, 9), Rect::sized(9, 9)).empty());
}

}  // namespace pw::reach_test
