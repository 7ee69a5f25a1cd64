// Half floats against Imath's half.h (OpenEXR's definition) and IEEE 754 binary16.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <limits>

#include "comp/media/half_float.h"

namespace pw::half_test {

uint16_t bits(float f) {
  uint16_t h = 0;
  float_to_half(&f, &h, 1);
  return h;
}

float value(uint16_t h) {
  float f = 0;
  half_to_float(&h, &f, 1);
  return f;
}

// Published: Imath half.h, limits.
TEST(PublishedHalf, Limits) {
  EXPECT_EQ(value(0x7bff), 65504.f);
  EXPECT_EQ(kMostHalf, 65504.f);
  EXPECT_FLOAT_EQ(value(0x0400), 6.10351562e-05f);
  EXPECT_EQ(value(0x0400), std::ldexp(1.f, -14));
  EXPECT_FLOAT_EQ(value(0x0001), 5.96046448e-08f);
  EXPECT_EQ(value(0x0001), std::ldexp(1.f, -24));
  EXPECT_EQ(value(0x3c01) - 1, std::ldexp(1.f, -10));  // Epsilon, 0.00097656.
  for (int i = -2048; i <= 2048; ++i) EXPECT_EQ(value(bits(static_cast<float>(i))), static_cast<float>(i));
}

// Derived from IEEE 754, except -124.0625, which is the worked example in Imath's half.h.
TEST(PublishedHalf, Patterns) {
  EXPECT_EQ(bits(1.f), 0x3c00);
  EXPECT_EQ(bits(0.5f), 0x3800);
  EXPECT_EQ(bits(0.1f), 0x2e66);
  EXPECT_EQ(value(0x2e66), 0.0999755859375f);
  EXPECT_EQ(bits(0.18f), 0x31c3);
  EXPECT_EQ(value(0x31c3), 0.1800537109375f);
  EXPECT_EQ(bits(1.f / 3), 0x3555);
  EXPECT_NEAR(value(0x3555), 0.333251953125, 1e-9);
  EXPECT_EQ(bits(-124.0625f), 0xd7c1);
  EXPECT_EQ(bits(2049.f), 0x6800);  // A tie, to the even 2048.
  EXPECT_EQ(bits(2050.f), 0x6801);
  EXPECT_EQ(bits(2051.f), 0x6802);  // A tie, to the even 2052.
  EXPECT_EQ(bits(65519.f), 0x7bff);
  EXPECT_EQ(bits(65520.f), 0x7c00);  // Infinite from here on (published: Imath's threshold 0x477fefff).
  EXPECT_EQ(bits(1e-8f), 0);
  EXPECT_EQ(bits(6.1e-5f), 0x03ff);  // Denormal.
  EXPECT_EQ(bits(-0.f), 0x8000);
  EXPECT_EQ(value(0x7c00), std::numeric_limits<float>::infinity());
}

}  // namespace pw::half_test
