#include "comp/media/orientation.h"

#include <gtest/gtest.h>

#include "samples.h"

namespace pw::orientation_test {

TEST(Orientation, EveryTurnIsUndoneByItsInverse) {
  const Picture p = samples::ramp(Rect::sized(7, 5), 4);
  const int inverse[9] = {0, 1, 2, 3, 4, 5, 8, 7, 6};
  for (int o = 1; o <= 8; ++o) {
    const Picture q = set_upright(p, o);
    EXPECT_EQ(q.window(), lies_on_its_side(o) ? Rect::sized(5, 7) : Rect::sized(7, 5));
    EXPECT_TRUE(same_bits(set_upright(q, inverse[o]), p)) << o;
  }
}

TEST(Orientation, SixIsAQuarterTurnClockwise) {
  // The camera was held with its right side down: the file's first row is the upright picture's right side.
  const Picture p = samples::ramp(Rect::sized(7, 5), 1), q = set_upright(p, 6);
  EXPECT_EQ(*q.at(4, 0), *p.at(0, 0));
  EXPECT_EQ(*q.at(4, 6), *p.at(6, 0));
  EXPECT_EQ(*q.at(0, 6), *p.at(6, 4));
}

TEST(Orientation, NumbersNobodyDefinedCountAsUpright) {
  const Picture p = samples::ramp(Rect::sized(3, 2), 1);
  for (int o : {-1, 0, 9, 100}) EXPECT_TRUE(same_bits(set_upright(p, o), p));
}

}  // namespace pw::orientation_test
