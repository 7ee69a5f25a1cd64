#include "warp/filter.h"

#include <gtest/gtest.h>

#include <cmath>

namespace pw::filter_test {

constexpr Filter kAll[] = {Filter::linear, Filter::cubic, Filter::sharp, Filter::smooth};

TEST(Filter, NamesComeBack) {
  for (Filter f : kAll) EXPECT_EQ(filter(name(f)), f);
  EXPECT_EQ(filter("nearest"), std::nullopt);
}

// Any filter must leave a constant alone and keep a straight ramp in place.
TEST(Filter, ConstantsAndRampsAreKept) {
  for (Filter f : kAll)
    for (double t = 0; t < 1; t += 1 / 64.) {
      double sum = 0, ramp = 0;
      for (int k = -3; k <= 3; ++k) sum += kernel(f, k - t), ramp += k * kernel(f, k - t);
      EXPECT_NEAR(sum, 1, 1e-12) << name(f) << " " << t;
      EXPECT_NEAR(ramp, t, 1e-12) << name(f) << " " << t;
    }
}

TEST(Filter, CubicAndSharpAreExactForQuadratics) {
  for (Filter f : {Filter::cubic, Filter::sharp})
    for (double t = 0; t < 1; t += 1 / 64.) {
      double sum = 0;
      for (int k = -3; k <= 3; ++k) sum += k * k * kernel(f, k - t);
      EXPECT_NEAR(sum, t * t, 1e-12) << name(f);
    }
}

TEST(Filter, InterpolatingOnesPassThroughTheSamples) {
  for (Filter f : kAll) {
    bool passes = std::abs(kernel(f, 0) - 1) < 1e-12;
    for (int k = 1; k < 4; ++k) passes = passes && std::abs(kernel(f, k)) < 1e-12;
    EXPECT_EQ(passes, interpolates(f)) << name(f);
  }
}

TEST(Filter, ValueIsContinuousAndSoIsTheSlopeOfTheWideOnes) {
  for (Filter f : kAll)
    for (int k = -3; k <= 3; ++k) {
      const double e = 1e-6, left = kernel(f, k - e), right = kernel(f, k + e);
      EXPECT_NEAR(left, right, 1e-5) << name(f) << " " << k;
      if (f == Filter::linear) continue;
      const double before = (kernel(f, k) - left) / e, after = (right - kernel(f, k)) / e;
      EXPECT_NEAR(before, after, 1e-4) << name(f) << " " << k;
    }
}

TEST(Filter, NothingBeyondItsWidth) {
  for (Filter f : kAll) {
    EXPECT_EQ(kernel(f, taps(f) / 2.0), 0);
    EXPECT_EQ(kernel(f, -taps(f) / 2.0), 0);
    EXPECT_EQ(kernel(f, 1e30), 0);
  }
}

// What a fraction of a pixel's shift does to a sinusoid: gain and phase against the exact answer, worst over shifts.
double worst_error(Filter f, double cycles_per_pixel) {
  double worst = 0;
  for (double t = 0; t < 1; t += 1 / 32.) {
    double re = 0, im = 0;
    for (int k = -3; k <= 3; ++k) {
      const double a = 2 * M_PI * cycles_per_pixel * (k - t);
      re += kernel(f, k - t) * std::cos(a), im += kernel(f, k - t) * std::sin(a);
    }
    worst = std::max(worst, std::hypot(re - 1, im));
  }
  return worst;
}

// Measured errors of a sinusoid's value, share of its amplitude; the sharp filter is there to make them small.
TEST(Filter, SharpKeepsDetailBetterThanCubicBetterThanLinear) {
  for (double f : {0.05, 0.1, 0.2, 0.3, 0.4}) {
    RecordProperty("cycles_" + std::to_string(f), std::to_string(worst_error(Filter::sharp, f)));
    EXPECT_LT(worst_error(Filter::sharp, f), worst_error(Filter::cubic, f)) << f;
    EXPECT_LT(worst_error(Filter::cubic, f), worst_error(Filter::linear, f)) << f;
  }
  // Lanczos3 with its weights divided by their sum has 0.0057, 0.0243 and 0.0228 here.
  EXPECT_LT(worst_error(Filter::sharp, 0.1), 0.0040);
  EXPECT_LT(worst_error(Filter::sharp, 0.2), 0.0275);
  EXPECT_LT(worst_error(Filter::sharp, 0.3), 0.0275);
  EXPECT_LT(worst_error(Filter::cubic, 0.2), 0.055);
}

}  // namespace pw::filter_test
