#include "warp/displace.h"

#include <gtest/gtest.h>

#include <Eigen/LU>

#include "tests/warp/drawn.h"

namespace pw::displace_test {

Picture field(const Rect& r, const std::function<Point(const Point&)>& source_from_out) {
  return draw(r, 2, [&](double x, double y, int k) { return float((source_from_out(Point(x, y)) - Point(x, y))(k)); });
}

Matrix3 tilt(double scale) {
  Matrix3 h;
  h << scale, 0.05, 3, -0.04, scale * 0.9, 2, 3e-4, -2e-4, 1;
  return h;
}

// A field made from a homography gives what the homography gives.
TEST(Displace, EqualsTheHomographyItIsMadeOf) {
  const Picture p = noise_picture(Rect{-10, -10, 120, 90}, 4);
  const Rect out = Rect::sized(90, 70);
  for (double scale : {1.0, 2.0, 0.7, 0.3, 0.08})
    for (Edge edge : {Edge::clear, Edge::hold, Edge::mirror}) {
      const Matrix3 h = tilt(scale), back = h.inverse();
      const ResampleOptions o{Filter::sharp, edge, true, {}};
      const Picture by_field = displace(p, field(out.grown(1), [&](const Point& q) { return map(back, q); }), out, o);
      // Differences are taken over two pixels, so a strongly bent map's derivative is a little off.
      EXPECT_LT(largest_difference(by_field, resample(p, h, out, o), out), scale > 0.5 ? 3e-4 : 3e-3) << scale;
    }
}

TEST(Displace, StandingStillKeepsTheValues) {
  const Picture p = noise_picture(Rect::sized(30, 20), 3);
  const Picture zero = Canvas::clear(Rect::sized(30, 20), 2).finish();
  EXPECT_TRUE(same_bits(displace(p, zero, Rect::sized(30, 20)), p));
}

TEST(Displace, PartsEqualTheWhole) {
  const Picture p = noise_picture(Rect::sized(80, 60), 2);
  const auto wave = [](const Point& q) {
    return Point(q.x() + 3 * std::sin(q.y() / 7), q.y() * 1.4 + 2 * std::cos(q.x() / 9));
  };
  const Rect out{-5, -5, 80, 40};
  const Picture f = field(out.grown(1), wave), whole = displace(p, f, out);
  for (const Rect& part : {Rect{0, 0, 1, 1}, Rect{-5, 3, 33, 17}, Rect{40, 30, 80, 40}})
    EXPECT_TRUE(same_bits(displace(p, f.cropped(part.grown(1)), part), whole.cropped(part)));
}

TEST(Displace, ClearWithoutFieldOrWhereItIsNoNumber) {
  const Picture p = noise_picture(Rect::sized(40, 40), 1, 1);
  Canvas f = Canvas::clear(Rect{5, 5, 20, 20}, 2);
  f.at(10, 10)[0] = std::nanf(""), f.at(15, 15)[1] = std::numeric_limits<float>::infinity();
  const Picture q = displace(p, std::move(f).finish(), Rect::sized(30, 30));
  EXPECT_TRUE(all_finite(q));
  EXPECT_EQ(*q.at(2, 10), 0);
  EXPECT_EQ(*q.at(10, 10), 0);
  EXPECT_EQ(*q.at(15, 15), 0);
  EXPECT_EQ(*q.at(7, 7), *p.at(7, 7));
  EXPECT_THROW(displace(p, p, Rect::sized(3, 3)), std::invalid_argument);
}

}  // namespace pw::displace_test
