#include "base/rect.h"

#include <gtest/gtest.h>

namespace pw::rect_test {

TEST(Rect, IsHalfOpen) {
  const Rect r{-2, 1, 3, 4};
  EXPECT_EQ(r.width(), 5);
  EXPECT_EQ(r.height(), 3);
  EXPECT_EQ(r.area(), 15);
  EXPECT_TRUE(r.contains(-2, 1));
  EXPECT_FALSE(r.contains(3, 1));
  EXPECT_FALSE(r.contains(0, 4));
}

TEST(Rect, AreaDoesNotOverflow) { EXPECT_EQ((Rect{0, 0, 100000, 100000}.area()), int64_t{10000000000}); }

TEST(Rect, EmptyAddsNothingAndMeetsNothing) {
  const Rect r{1, 1, 4, 4}, none{5, 5, 2, 2};
  EXPECT_EQ(unite(r, none), r);
  EXPECT_EQ(unite(none, r), r);
  EXPECT_EQ(intersect(r, none), Rect{});
  EXPECT_EQ(intersect(r, (Rect{4, 1, 6, 4})), Rect{});
  EXPECT_EQ(none.area(), 0);
  EXPECT_TRUE(none.grown(10).empty());
  EXPECT_TRUE(r.contains(none));
}

TEST(Rect, UniteAndIntersect) {
  const Rect a{0, 0, 4, 4}, b{2, -1, 6, 3};
  EXPECT_EQ(intersect(a, b), (Rect{2, 0, 4, 3}));
  EXPECT_EQ(unite(a, b), (Rect{0, -1, 6, 4}));
  EXPECT_EQ(a.grown(2), (Rect{-2, -2, 6, 6}));
  EXPECT_EQ(a.moved(1, -1), (Rect{1, -1, 5, 3}));
}

}  // namespace pw::rect_test
