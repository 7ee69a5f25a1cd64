#include "track/raster.h"

#include <gtest/gtest.h>

namespace pw::raster_test {

TEST(Raster, RepeatsThePicturesEdge) {
  Canvas c(Rect{0, 0, 3, 2}, 3);
  for (int y = 0; y < 2; ++y)
    for (int x = 0; x < 3; ++x)
      for (int k = 0; k < 3; ++k) c.at(x, y)[k] = float(100 * y + 10 * x + k);
  const Raster r = raster(std::move(c).finish(), {-2, -1, 5, 4});
  EXPECT_EQ(r.at(-2, -1)[1], 1);
  EXPECT_EQ(r.at(4, 3)[2], 122);
  EXPECT_EQ(r.at(1, 1)[0], 110);
  EXPECT_EQ(r.at(1, 1)[3], 0);
}

TEST(Raster, HalvedKeepsPlanesAndPositions) {
  Raster r(Rect{-8, 4, 24, 36});
  for (int y = 4; y < 36; ++y)
    for (int x = -8; x < 24; ++x) r.at(x, y) = f4{float(x + 0.5), float(y + 0.5), 7, 0};
  const Raster h = halved(r);
  EXPECT_EQ(h.window(), (Rect{-4, 2, 12, 18}));
  for (int y = 4; y < 16; ++y)
    for (int x = -2; x < 10; ++x) {
      EXPECT_NEAR(h.at(x, y)[0], 2 * (x + 0.5), 1e-5);  // Position p of the half picture is 2 p of the whole.
      EXPECT_NEAR(h.at(x, y)[1], 2 * (y + 0.5), 1e-5);
      EXPECT_NEAR(h.at(x, y)[2], 7, 1e-5);
    }
}

TEST(Raster, SoftenedIsTheBinomialMean) {
  Raster r(Rect{0, 0, 12, 9});
  for (int y = 0; y < 9; ++y)
    for (int x = 0; x < 12; ++x) r.at(x, y) = f4{float((7 * x + 5 * y * y) % 11), float(x - 2 * y), 0, 1};
  r.at(1, 1)[3] = 0;
  const Raster s = softened(r, 2);
  EXPECT_EQ(s.window(), (Rect{2, 2, 10, 7}));
  const double weight[] = {1, 4, 6, 4, 1};
  for (int y = 2; y < 7; ++y)
    for (int x = 2; x < 10; ++x) {
      double want = 0;
      for (int j = 0; j < 5; ++j)
        for (int i = 0; i < 5; ++i) want += weight[i] * weight[j] / 256 * r.at(x + i - 2, y + j - 2)[0];
      const bool known = x > 3 || y > 3;
      EXPECT_EQ(s.at(x, y)[3], known ? 1 : 0);
      EXPECT_NEAR(s.at(x, y)[0], known ? want : 0, 1e-5);
      EXPECT_NEAR(s.at(x, y)[1], known ? x - 2 * y : 0, 1e-5);  // What is straight stays.
    }
  EXPECT_EQ(softened(r, 0).window(), r.window());
  EXPECT_TRUE(softened(r, 5).empty());
}

TEST(Raster, AlignedGrowsToMultiples) {
  EXPECT_EQ(aligned({-3, 5, 9, 16}, 4), (Rect{-4, 4, 12, 16}));
  EXPECT_EQ(aligned({-8, 0, 8, 8}, 8), (Rect{-8, 0, 8, 8}));
  EXPECT_TRUE(aligned({}, 8).empty());
}

}  // namespace pw::raster_test
