#include "warp/reframe.h"

#include <gtest/gtest.h>

#include <cmath>

#include "base/random.h"

namespace pw::reframe_test {

Picture noise(const Rect& r, int channels) {
  Canvas c(r, channels);
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x)
      for (int k = 0; k < channels; ++k) c.at(x, y)[k] = uniform(random_bits(2, k, x, y)[0]);
  return std::move(c).finish();
}
constexpr Rect kCanvas{0, 0, 24, 16};

Picture reframed(const Picture& p, const Framing& f, const Rect& out, const ResampleOptions& o = {}) {
  const Matrix3 m[] = {transform_of(f)};
  return pw::reframed(p, m, out, o);
}

TEST(Reframe, WholePixelsFlipsAndQuarterTurnsKeepEveryValue) {
  const Picture p = noise({-2, -1, 27, 18}, 4);
  const Rect out{-40, -40, 60, 60};
  const auto expect = [&](const Framing& f, auto from) {
    const Picture q = reframed(p, f, out);
    for (int y = out.y0; y < out.y1; ++y)
      for (int x = out.x0; x < out.x1; ++x) {
        const auto [sx, sy] = from(x, y);
        for (int k = 0; k < 4; ++k) ASSERT_EQ(q.at(x, y)[k], p.window().contains(sx, sy) ? p.at(sx, sy)[k] : 0);
      }
  };
  using Place = std::pair<int, int>;
  const Point middle(12, 8);
  expect({.about = middle, .move = {5, -3}}, [](int x, int y) { return Place(x - 5, y + 3); });
  expect({.about = middle, .flip_x = true}, [](int x, int y) { return Place(23 - x, y); });
  expect({.about = middle, .flip_y = true}, [](int x, int y) { return Place(x, 15 - y); });
  expect({.about = {12.5, 8}, .flip_x = true}, [](int x, int y) { return Place(24 - x, y); });
  expect({.about = middle, .turn_deg = 180}, [](int x, int y) { return Place(23 - x, 15 - y); });
  // Clockwise: what was on top comes to the right. (x, y) -> (12 - (y - 8), 8 + (x - 12)) for corners.
  expect({.about = middle, .turn_deg = 90}, [](int x, int y) { return Place(y + 4, 19 - x); });
  expect({.about = middle, .turn_deg = -90, .move = {0, 2}}, [](int x, int y) { return Place(21 - y, x - 4); });
}

TEST(Reframe, TwiceFlippedIsWhatItWas) {
  const Picture p = noise(kCanvas, 3);
  for (const Framing& f : {Framing{.about = {12, 8}, .flip_x = true},
                           {.about = {12, 8}, .flip_y = true},
                           {.about = {12, 8}, .turn_deg = 180}})
    EXPECT_TRUE(same_bits(reframed(reframed(p, f, kCanvas), f, kCanvas), p));
}

TEST(Reframe, OrderIsFlipScaleTurnMove) {
  const Framing f{.about = {3, 4}, .flip_x = true, .scale = 2, .turn_deg = 30, .move = {10, 20}};
  const Point p(5, 7), q = map(transform_of(f), p);
  const double x = -(5 - 3) * 2, y = (7 - 4) * 2, c = std::cos(M_PI / 6), s = 0.5;
  EXPECT_NEAR(q.x(), 3 + c * x - s * y + 10, 1e-12);
  EXPECT_NEAR(q.y(), 4 + s * x + c * y + 20, 1e-12);
}

TEST(Reframe, BeyondTheSource) {
  const Picture p = noise(kCanvas, 1);
  const Framing f{.move = {-10, 0}};
  const Picture held = reframed(p, f, kCanvas, {.edge = Edge::hold}),
                folded = reframed(p, f, kCanvas, {.edge = Edge::mirror});
  EXPECT_EQ(*held.at(23, 5), *p.at(23, 5));
  EXPECT_EQ(*folded.at(14, 5), *p.at(23, 5));
  EXPECT_EQ(*folded.at(23, 5), *p.at(14, 5));
  EXPECT_EQ(*reframed(p, f, kCanvas).at(14, 5), 0);
}

TEST(Reframe, StandingStillOrASteadyValueTakesOneMoment) {
  EXPECT_EQ(moments([](double) { return Framing{}; }, 180, kCanvas).size(), 1u);
  EXPECT_EQ(moments([](double t) { return Framing{.move = {t, 0}}; }, 0, kCanvas).size(), 1u);
  EXPECT_EQ(moments([](double t) { return Framing{.move = {8 * t, 0}}; }, 180, kCanvas).size(), 9u);
  EXPECT_LE(moments([](double t) { return Framing{.move = {1e6 * t, 0}}; }, 360, kCanvas).size(), 257u);
}

// An edge that moves 12 pixels a frame, with a half-open shutter: a ramp 6 pixels wide.
TEST(Reframe, ASmearedEdgeIsARamp) {
  const float one[] = {1};
  const Picture p = Canvas::filled({-60, 0, 10, 16}, 1, one).finish();
  const auto list = moments([](double t) { return Framing{.move = {12 * t, 0}}; }, 180, kCanvas);
  const Picture q = pw::reframed(p, list, kCanvas, {.filter = Filter::linear});
  for (int x = 0; x < 24; ++x) {
    // The pixel's box, spread by linear reading over a pixel more; within the ramp the mean is the line itself.
    const double middle = x + 0.5 - 10, line = 0.5 - middle / 6;
    if (std::abs(middle) < 2) {
      EXPECT_NEAR(*q.at(x, 5), line, 0.01) << x;
    }
    if (std::abs(middle) > 4) {
      EXPECT_NEAR(*q.at(x, 5), middle < 0 ? 1 : 0, 1e-6) << x;
    }
  }
  double sum = 0;
  for (int x = 0; x < 24; ++x) sum += *q.at(x, 5);
  EXPECT_NEAR(sum, 10, 1e-3);
}

TEST(Reframe, AConstantStaysOneUnderSmear) {
  const float grey[] = {0.1f, 0.2f, 0.7f};
  const Picture p = Canvas::filled(kCanvas, 3, grey).finish();
  const auto list = moments([](double t) { return Framing{.about = {9, 4}, .turn_deg = 33 * t}; }, 360, kCanvas);
  const Picture q = pw::reframed(p, list, kCanvas, {.filter = Filter::linear, .edge = Edge::hold});
  for (int k = 0; k < 3; ++k) EXPECT_NEAR(q.at(3, 3)[k], grey[k], 1e-7);
}

TEST(Reframe, PartsAreTheWholeAndReachIsSound) {
  const Picture p = noise({-3, -2, 40, 30}, 4);
  for (const Edge edge : {Edge::clear, Edge::hold, Edge::mirror})
    for (const auto& at : {std::function<Framing(double)>([](double) {
                             return Framing{.move = {3, 1}};
                           }),
                           {[](double) {
                             return Framing{.about = {12, 8}, .flip_x = true};
                           }},
                           {[](double t) {
                             return Framing{.about = {12, 8}, .scale = 0.6, .turn_deg = 20 + 30 * t};
                           }}}) {
      const auto list = moments(at, 180, kCanvas);
      const ResampleOptions o{.edge = edge, .source_window = p.window()};
      const Picture whole = pw::reframed(p, list, {-10, -10, 50, 40}, o);
      for (const Rect r : {Rect{-10, -10, 3, 40}, {7, 8, 8, 9}, {20, -4, 50, 17}}) {
        const Picture part = p.cropped(reframe_reach(list, r, p.window(), o));
        EXPECT_TRUE(same_bits(pw::reframed(part, list, r, o), whole.cropped(r)));
      }
    }
}

}  // namespace pw::reframe_test
