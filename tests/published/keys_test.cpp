// R. G. Keys, "Cubic convolution interpolation for digital image processing", IEEE Transactions on Acoustics, Speech,
// and Signal Processing 29(6), 1981, 1153-1160, with a = -1/2. The formula as the GDAL library's source states it
// (gdalresamplingkernels.h); the weights at 1/4 and 1/2 derived from it by hand.
// Cubic B-spline weights at 1/4, 1/2 and 0: derived from the uniform B-spline's definition.
#include <gtest/gtest.h>

#include "base/picture.h"
#include "warp/filter.h"
#include "warp/resample.h"

namespace pw::keys_test {

TEST(Keys, WeightsAtAQuarterAndAHalf) {
  const double quarter[] = {-0.0703125, 0.8671875, 0.2265625, -0.0234375};
  const double half[] = {-0.0625, 0.5625, 0.5625, -0.0625};
  for (int k = -1; k <= 2; ++k) {
    EXPECT_DOUBLE_EQ(kernel(Filter::cubic, k - 0.25), quarter[k + 1]);
    EXPECT_DOUBLE_EQ(kernel(Filter::cubic, k - 0.5), half[k + 1]);
  }
}

TEST(Keys, FormulaOnBothPieces) {
  for (double x = 0; x <= 2; x += 1 / 32.) {
    const double want = x <= 1 ? 1.5 * x * x * x - 2.5 * x * x + 1 : -0.5 * x * x * x + 2.5 * x * x - 4 * x + 2;
    EXPECT_NEAR(kernel(Filter::cubic, x), want, 1e-14);
    EXPECT_EQ(kernel(Filter::cubic, -x), kernel(Filter::cubic, x));
  }
}

// The weights as they come out of a picture: a single pixel of 1, moved by a quarter and by a half.
TEST(Keys, WeightsInAPicture) {
  Canvas c = Canvas::clear(Rect::sized(9, 1), 1);
  *c.at(4, 0) = 1;
  const Picture dot = std::move(c).finish();
  const ResampleOptions options{Filter::cubic, Edge::hold, false, {}};
  const Picture quarter = resample(dot, translation(0.25, 0), Rect::sized(9, 1), options);
  // The pixel right of the dot sees it 0.75 to its left, the one left of it 1.25 to its right.
  EXPECT_FLOAT_EQ(*quarter.at(3, 0), -0.0703125f);
  EXPECT_FLOAT_EQ(*quarter.at(4, 0), 0.8671875f);
  EXPECT_FLOAT_EQ(*quarter.at(5, 0), 0.2265625f);
  EXPECT_FLOAT_EQ(*quarter.at(6, 0), -0.0234375f);
  const Picture half = resample(dot, translation(0.5, 0), Rect::sized(9, 1), options);
  EXPECT_FLOAT_EQ(*half.at(3, 0), -0.0625f);
  EXPECT_FLOAT_EQ(*half.at(4, 0), 0.5625f);
  EXPECT_FLOAT_EQ(*half.at(5, 0), 0.5625f);
  EXPECT_FLOAT_EQ(*half.at(6, 0), -0.0625f);
}

// Self-proving: x^2 at 1/2 between 0 and 1 is 1/4; a = -1/2 is the only choice that gets it.
TEST(Keys, ReproducesASquare) {
  double sum = 0;
  for (int k = -1; k <= 2; ++k) sum += k * k * kernel(Filter::cubic, k - 0.5);
  EXPECT_DOUBLE_EQ(sum, 0.25);
}

TEST(BSpline, WeightsAtAQuarterAHalfAndZero) {
  const double quarter[] = {9 / 128., 235 / 384., 121 / 384., 1 / 384.};
  const double half[] = {1 / 48., 23 / 48., 23 / 48., 1 / 48.};
  const double zero[] = {1 / 6., 2 / 3., 1 / 6., 0};
  for (int k = -1; k <= 2; ++k) {
    EXPECT_NEAR(kernel(Filter::smooth, k - 0.25), quarter[k + 1], 1e-15);
    EXPECT_NEAR(kernel(Filter::smooth, k - 0.5), half[k + 1], 1e-15);
    EXPECT_NEAR(kernel(Filter::smooth, k), zero[k + 1], 1e-15);
  }
}

}  // namespace pw::keys_test
