#include "track/rich_quad.h"

#include <gtest/gtest.h>

namespace pw::rich_quad_test {

WorthGrid grid(int columns, int rows, const std::function<double(int, int)>& worth) {
  WorthGrid g{columns, rows, 10, {}};
  for (int y = 0; y < rows; ++y)
    for (int x = 0; x < columns; ++x) g.worth.push_back(worth(x, y));
  return g;
}

TEST(RichQuad, NothingWorthHaving) {
  EXPECT_FALSE(rich_quad(grid(5, 4, [](int, int) { return -1.0; })));
  EXPECT_FALSE(rich_quad({}));
}

TEST(RichQuad, AnUprightRectangle) {
  const auto q = rich_quad(grid(20, 15, [](int x, int y) { return x >= 3 && x < 11 && y >= 2 && y < 9 ? 1.0 : -1.0; }));
  ASSERT_TRUE(q);
  EXPECT_EQ(*q, (Quad{Point(30, 20), Point(110, 20), Point(110, 90), Point(30, 90)}));
}

// A wall that leads away: taller at its left.
TEST(RichQuad, ATrapezium) {
  const auto inside = [](int x, int y) { return x >= 2 && x < 26 && std::abs(y + 0.5 - 12) < 10 - 0.25 * x; };
  const WorthGrid g = grid(30, 24, [&](int x, int y) { return inside(x, y) ? 1.0 : -2.0; });
  const auto q = rich_quad(g);
  ASSERT_TRUE(q);
  int own = 0, all = 0, other = 0;
  for (int y = 0; y < 24; ++y)
    for (int x = 0; x < 30; ++x) {
      bool in = true;
      for (size_t i = 0; i < 4; ++i) {
        const Point side = (*q)[(i + 1) % 4] - (*q)[i], to = Point(10 * x + 5, 10 * y + 5) - (*q)[i];
        in = in && side.x() * to.y() - side.y() * to.x() > 0;
      }
      all += inside(x, y), own += in && inside(x, y), other += in && !inside(x, y);
    }
  EXPECT_GT(own, 0.93 * all);
  EXPECT_LT(other, 0.03 * all);
}

TEST(RichQuad, KeepsOffWhatMustNotBeIn) {
  const auto q = rich_quad(grid(12, 12, [](int x, int y) { return x == 6 && y == 5 ? -1e6 : 1.0; }));
  ASSERT_TRUE(q);
  bool in = true;
  for (size_t i = 0; i < 4; ++i) {
    const Point side = (*q)[(i + 1) % 4] - (*q)[i], to = Point(65, 55) - (*q)[i];
    in = in && side.x() * to.y() - side.y() * to.x() > 0;
  }
  EXPECT_FALSE(in);
}

}  // namespace pw::rich_quad_test
