#include "track/field.h"

#include <gtest/gtest.h>

namespace pw::field_test {

TEST(Field, IsExactForWhatIsStraight) {
  const Rect w{-7, 3, 42, 61};
  Field f(w);
  f.fill([](const Point& p) { return f4{float(p.x()), float(2 * p.y()), float(p.x() - 3 * p.y()), 1}; });
  std::vector<f4> row;
  for (int y = w.y0; y < w.y1; ++y) {
    f.row(y, row);
    ASSERT_EQ(int(row.size()), w.width());
    for (int x = w.x0; x < w.x1; ++x) {
      const f4 v = row[x - w.x0];
      EXPECT_NEAR(v[0], x + 0.5, 1e-4);
      EXPECT_NEAR(v[1], 2 * y + 1, 1e-4);
      EXPECT_NEAR(v[2], x - 3 * y - 1, 3e-4);
      EXPECT_EQ(v[3], 1);
    }
  }
}

}  // namespace pw::field_test
