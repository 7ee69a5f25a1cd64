#include "warp/beyond.h"

#include <gtest/gtest.h>

#include "base/random.h"

namespace pw::beyond_test {

TEST(Beyond, PixelsOfARow) {
  EXPECT_EQ(shown_at(-1, 0, 3, Edge::clear), std::nullopt);
  EXPECT_EQ(shown_at(2, 0, 3, Edge::clear), 2);
  EXPECT_EQ(shown_at(-5, 0, 3, Edge::hold), 0);
  EXPECT_EQ(shown_at(9, 2, 5, Edge::hold), 4);
  const int folded[] = {0, 1, 2, 2, 1, 0, 0, 1, 2, 2};  // From -6 on, of 0 1 2.
  for (int i = 0; i < 10; ++i) EXPECT_EQ(shown_at(i - 6, 0, 3, Edge::mirror), folded[i]) << i;
}

TEST(Beyond, ReachIsSoundAndSmall) {
  const Rect ends{2, 3, 12, 9};
  Canvas c(ends, 1);
  for (int y = 3; y < 9; ++y)
    for (int x = 2; x < 12; ++x) *c.at(x, y) = uniform(random_bits(1, 0, x, y)[0]);
  const Picture p = std::move(c).finish();
  for (const Edge edge : {Edge::clear, Edge::hold, Edge::mirror})
    for (const Rect r : {Rect{-3, -4, 4, 5}, {10, 8, 17, 30}, {4, 4, 6, 6}, {20, 20, 22, 21}}) {
      const Rect reach = beyond_reach(ends, edge, r);
      EXPECT_TRUE(ends.contains(reach));
      const Picture is = with_beyond(p.cropped(reach), ends, edge, r);
      EXPECT_TRUE(same_bits(is, with_beyond(p, ends, edge, r)));
      for (int y = r.y0; y < r.y1; ++y)
        for (int x = r.x0; x < r.x1; ++x) {
          const auto fx = shown_at(x, 2, 12, edge), fy = shown_at(y, 3, 9, edge);
          EXPECT_EQ(*is.at(x, y), fx && fy ? *p.at(*fx, *fy) : 0);
        }
    }
  EXPECT_EQ(beyond_reach(ends, Edge::hold, {20, 20, 22, 21}), (Rect{11, 8, 12, 9}));
  EXPECT_EQ(beyond_reach(ends, Edge::clear, {20, 20, 22, 21}), Rect{});
}

}  // namespace pw::beyond_test
