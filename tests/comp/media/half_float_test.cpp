#include "comp/media/half_float.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

namespace pw::half_float_test {

// By the definition: sign, 5 bits of exponent, 10 of fraction.
double meaning(uint16_t h) {
  const int e = h >> 10 & 31, m = h & 1023;
  const double v = e == 0 ? std::ldexp(m, -24) : std::ldexp(1024 + m, e - 25);
  return h & 0x8000 ? -v : v;
}

TEST(HalfFloat, EveryFiniteHalfIsReadExactlyAndComesBack) {
  std::vector<uint16_t> all;
  for (int h = 0; h < 65536; ++h)
    if ((h >> 10 & 31) != 31) all.push_back(static_cast<uint16_t>(h));
  std::vector<float> f(all.size());
  half_to_float(all.data(), f.data(), all.size());
  for (size_t i = 0; i < all.size(); ++i) ASSERT_EQ(f[i], meaning(all[i])) << all[i];
  std::vector<uint16_t> back(all.size());
  float_to_half(f.data(), back.data(), f.size());
  EXPECT_EQ(all, back);
}

TEST(HalfFloat, RoundsToTheNearestAndTiesToEven) {
  for (uint16_t h = 0; h + 1 < 0x7c00; h = static_cast<uint16_t>(h + 1)) {
    const double a = meaning(h), b = meaning(static_cast<uint16_t>(h + 1)), middle = (a + b) / 2;
    const float in[3] = {std::nextafter(static_cast<float>(middle), 0.f), static_cast<float>(middle),
                         std::nextafter(static_cast<float>(middle), 1e9f)};
    uint16_t out[3];
    float_to_half(in, out, 3);
    ASSERT_EQ(out[0], h);
    ASSERT_EQ(out[1], h % 2 == 0 ? h : h + 1);
    ASSERT_EQ(out[2], h + 1);
  }
}

TEST(HalfFloat, IsTheSameWhereverItStandsInARow) {
  std::vector<float> in(21), one(21);
  std::vector<uint16_t> all(21);
  for (size_t i = 0; i < in.size(); ++i) in[i] = 0.1f * static_cast<float>(i) - 1;
  float_to_half(in.data(), all.data(), in.size());
  for (size_t i = 0; i < in.size(); ++i) {
    uint16_t h = 0;
    float_to_half(&in[i], &h, 1);
    EXPECT_EQ(h, all[i]);
  }
}

}  // namespace pw::half_float_test
