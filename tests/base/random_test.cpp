#include "base/random.h"

#include <gtest/gtest.h>

#include <cmath>

namespace pw::random_test {

// Known answers for philox4x32-10 published with the Random123 distribution of the paper's authors; from memory.
TEST(Random, PhiloxKnownAnswers) {
  EXPECT_EQ(random_bits(0, RandomBits{0, 0, 0, 0}), (RandomBits{0x6627e8d5, 0xe169c58d, 0xbc57ac4c, 0x9b00dbd8}));
  EXPECT_EQ(random_bits(~uint64_t{0}, RandomBits{~0u, ~0u, ~0u, ~0u}),
            (RandomBits{0x408f276d, 0x41c83b0e, 0xa20bc7c6, 0x6d5451fd}));
}

TEST(Random, UniformHasTheMomentsOfTheUniform) {
  double sum = 0, sum2 = 0;
  int n = 0;
  for (int y = 0; y < 200; ++y)
    for (int x = 0; x < 200; ++x)
      for (uint32_t w : random_bits(7, 3, x, y)) {
        const double u = uniform(w);
        ASSERT_GE(u, 0);
        ASSERT_LT(u, 1);
        sum += u, sum2 += u * u, ++n;
      }
  EXPECT_NEAR(sum / n, 0.5, 4 * std::sqrt(1 / 12. / n));
  EXPECT_NEAR(sum2 / n, 1 / 3., 4 * std::sqrt(4 / 45. / n));
}

TEST(Random, GaussHasTheMomentsOfTheNormal) {
  double m1 = 0, m2 = 0, m4 = 0;
  int n = 0;
  for (int y = 0; y < 300; ++y)
    for (int x = 0; x < 300; ++x) {
      const RandomBits b = random_bits(1, 0, x, y, 9);
      for (auto pair : {gauss(b[0], b[1]), gauss(b[2], b[3])})
        for (double g : pair) m1 += g, m2 += g * g, m4 += g * g * g * g, ++n;
    }
  EXPECT_NEAR(m1 / n, 0, 4 / std::sqrt(n));
  EXPECT_NEAR(m2 / n, 1, 4 * std::sqrt(2. / n));
  EXPECT_NEAR(m4 / n, 3, 4 * std::sqrt(96. / n));
}

TEST(Random, EveryPartOfTheCounterMatters) {
  const RandomBits a = random_bits(1, 2, 3, 4, 5);
  EXPECT_NE(a, random_bits(2, 2, 3, 4, 5));
  EXPECT_NE(a, random_bits(1, 3, 3, 4, 5));
  EXPECT_NE(a, random_bits(1, 2, 4, 4, 5));
  EXPECT_NE(a, random_bits(1, 2, 3, 5, 5));
  EXPECT_NE(a, random_bits(1, 2, 3, 4, 6));
}

}  // namespace pw::random_test
