#include "comp/media/stored_row.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstring>
#include <random>
#include <vector>

namespace pw::stored_row_test {

using Component = StoredRow::Component;
using Alpha = StoredRow::Alpha;

TEST(StoredRow, EveryFormComesBack) {
  std::mt19937 g(1);
  const int width = 101;
  for (Component component : {Component::uint8, Component::uint16, Component::half, Component::float32})
    for (Encoding e : all_encodings())
      for (Alpha alpha : {Alpha::none, Alpha::straight, Alpha::associated})
        for (int bits : {8, 10, 12, 16}) {
          const bool narrow = component == Component::uint8;
          if (narrow != (bits == 8)) continue;
          const StoredRow how{component, bits, e, alpha == Alpha::none ? 3 : 4, alpha};
          std::vector<float> row(static_cast<size_t>(width) * how.channels), back(row.size());
          for (int x = 0; x < width; ++x) {
            const float a = alpha == Alpha::none ? 1 : std::uniform_real_distribution<float>(0.2f, 1)(g);
            for (int c = 0; c < how.channels; ++c)
              row[x * how.channels + c] = c == 3 ? a : a * std::uniform_real_distribution<float>(0.05f, 1)(g);
          }
          const auto want = row;
          std::vector<float> stored(row.size());
          auto* bytes = reinterpret_cast<unsigned char*>(stored.data());
          OddValues odd;
          encode_row(how, row.data(), width, bytes, odd);
          decode_row(how, bytes, width, back.data(), odd);
          const double steps = component == Component::uint8  ? 255
                               : component == Component::half ? 1000
                                                              : (1 << bits) - 1;
          // A code of HLG or PQ is up to five times as much light.
          const double size = e == Encoding::hlg || e == Encoding::pq ? 5 : 1;
          const double tolerance = component == Component::float32 ? 2e-5 : 2.5 * size / steps;
          for (size_t i = 0; i < want.size(); ++i) ASSERT_NEAR(back[i], want[i], tolerance) << name(e) << bits;
          EXPECT_EQ(odd.not_finite + odd.too_large, 0);
        }
}

TEST(StoredRow, TenBitsLieInTheHighBitsAndAreRepeated) {
  const StoredRow how{Component::uint16, 10, Encoding::linear, 1, Alpha::none};
  float row[3] = {0, 513 / 1023.f, 1};
  uint16_t stored[3];
  OddValues odd;
  encode_row(how, row, 3, reinterpret_cast<unsigned char*>(stored), odd);
  EXPECT_EQ(stored[0], 0);
  EXPECT_EQ(stored[1], 513 << 6 | 513 >> 4);
  EXPECT_EQ(stored[2], 65535);
}

TEST(StoredRow, StraightAlphaKeepsColourOutOfNothing) {
  const StoredRow how{Component::uint8, 8, Encoding::linear, 4, Alpha::straight};
  float row[8] = {0.2f, 0.4f, 0.1f, 0.5f, 1, 0.5f, 0, 0};
  unsigned char stored[8];
  OddValues odd;
  encode_row(how, row, 2, stored, odd);
  const unsigned char want[8] = {102, 204, 51, 128, 255, 128, 0, 0};  // Colour under zero alpha as it stands.
  EXPECT_EQ(std::memcmp(stored, want, 8), 0);
  float back[8];
  decode_row(how, stored, 2, back, odd);
  EXPECT_FLOAT_EQ(back[0], 102 / 255.f * (128 / 255.f));
  EXPECT_EQ(back[4], 0);
}

TEST(StoredRow, AlphaIsNeverEncoded) {
  for (Alpha alpha : {Alpha::straight, Alpha::associated}) {
    const StoredRow how{Component::uint16, 16, Encoding::srgb, 4, alpha};
    float row[4] = {0.1f, 0.1f, 0.1f, 0.25f};
    uint16_t stored[4];
    OddValues odd;
    encode_row(how, row, 1, reinterpret_cast<unsigned char*>(stored), odd);
    EXPECT_EQ(stored[3], std::lround(0.25 * 65535));
  }
}

}  // namespace pw::stored_row_test
