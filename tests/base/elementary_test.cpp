#include "base/elementary.h"

#include <gtest/gtest.h>

#include <cmath>

namespace pw::elementary_test {

TEST(Elementary, Log2AgreesWithTheLibrary) {
  for (double x = 1e-30; x < 1e30; x *= 1.00137) {
    const float f = static_cast<float>(x);
    const double want = std::log2(double(f));
    EXPECT_NEAR(log2(f), want, 3e-7 * std::abs(want) + 2e-7) << f;
  }
}

TEST(Elementary, Exp2AgreesWithTheLibrary) {
  for (float x = -120; x < 120; x += 0.00731f) {
    const double want = std::exp2(double(x));
    EXPECT_NEAR(exp2(x) / want, 1, 2.5e-7) << x;
  }
  EXPECT_EQ(exp2(0.f), 1.f);
  EXPECT_EQ(exp2(10.f), 1024.f);
  EXPECT_TRUE(std::isfinite(exp2(1e30f)));
  EXPECT_GT(exp2(-1e30f), 0.f);
}

TEST(Elementary, PowAgreesWithTheLibrary) {
  for (float y : {0.45f, 1 / 2.4f, 2.4f, 1 / 0.45f, 3.f, -1.5f})
    for (double x = 1e-4; x < 50; x *= 1.0019) {
      const double want = std::pow(double(float(x)), double(y));
      if (want < 1e-6 || want > 1e6) continue;
      EXPECT_NEAR(pow(float(x), y) / want, 1, 2e-6) << x << " ^ " << y;
    }
  EXPECT_EQ(pow(0.f, 2.4f), 0.f);
  EXPECT_EQ(pow(-1.f, 2.f), 0.f);
}

TEST(Elementary, TurnsAgreeWithTheLibrary) {
  for (float t = -7; t < 7; t += 0.000917f) {
    EXPECT_NEAR(sin_turn(t), std::sin(2 * M_PI * double(t)), 1e-6) << t;
    EXPECT_NEAR(cos_turn(t), std::cos(2 * M_PI * double(t)), 1e-6) << t;
  }
}

}  // namespace pw::elementary_test
