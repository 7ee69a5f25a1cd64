#include "base/alpha.h"

#include <gtest/gtest.h>

namespace pw::alpha_test {

TEST(WithAlpha, OpaqueWhereThereWasNone) {
  const float rgb[] = {0.25f, 0.5f, 2}, grey[] = {0.75f}, rgba[] = {0.1f, 0.2f, 0.3f, 0.5f};
  const Rect r{-2, 1, 3, 4};
  const Picture a = with_alpha(Canvas::filled(r, 3, rgb).finish()), b = with_alpha(Canvas::filled(r, 1, grey).finish());
  ASSERT_EQ(a.channels(), 4);
  EXPECT_EQ(a.window(), r);
  EXPECT_EQ(a.at(2, 3)[2], 2);
  EXPECT_EQ(a.at(2, 3)[3], 1);
  EXPECT_EQ(b.at(-2, 1)[1], 0.75f);
  EXPECT_EQ(b.at(-2, 1)[3], 1);
  const Picture c = Canvas::filled(r, 4, rgba).finish();
  EXPECT_TRUE(same_bits(with_alpha(c), c));
}

}  // namespace pw::alpha_test
