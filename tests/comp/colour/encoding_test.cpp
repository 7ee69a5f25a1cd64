#include "comp/colour/encoding.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <string>
#include <vector>

namespace pw::encoding_test {

TEST(Encoding, NamesComeBack) {
  for (Encoding e : all_encodings()) EXPECT_EQ(encoding(name(e)), e);
  EXPECT_FALSE(encoding("gamma"));
  EXPECT_EQ(all_encodings().size(), 6u);
}

bool ends_at_one(Encoding e) { return e != Encoding::hlg && e != Encoding::pq; }

class EveryCode : public testing::TestWithParam<Encoding> {};

TEST_P(EveryCode, Of8BitsComesBack) {
  std::vector<uint8_t> codes(256), back(256);
  for (int i = 0; i < 256; ++i) codes[i] = static_cast<uint8_t>(i);
  std::vector<float> linear(256);
  decode_codes(GetParam(), codes.data(), linear.data(), 256);
  encode_codes(GetParam(), linear.data(), back.data(), 256);
  EXPECT_EQ(codes, back);
}

TEST_P(EveryCode, OfEveryDepthUpTo16BitsComesBack) {
  for (int bits = 8; bits <= 16; ++bits) {
    const size_t n = size_t{1} << bits;
    std::vector<uint16_t> codes(n), back(n);
    for (size_t i = 0; i < n; ++i) codes[i] = static_cast<uint16_t>(i);
    std::vector<float> linear(n);
    decode_codes(GetParam(), bits, codes.data(), linear.data(), n);
    EXPECT_EQ(linear.front(), 0.f);
    EXPECT_EQ(linear.back(), static_cast<float>(decode(GetParam(), 1.0)));
    if (ends_at_one(GetParam())) {
      EXPECT_EQ(linear.back(), 1.f);
    }
    encode_codes(GetParam(), bits, linear.data(), back.data(), n);
    EXPECT_EQ(codes, back) << bits;
  }
}

TEST_P(EveryCode, OfSixteenBitsIsTheNearestOne) {
  // A quarter of a code to either side of the middle between two codes.
  std::vector<float> linear;
  std::vector<uint16_t> want;
  for (int i = 0; i + 1 < 65536; ++i)
    for (double middle : {0.25, 0.75}) {
      linear.push_back(static_cast<float>(decode(GetParam(), (i + middle) / 65535)));
      want.push_back(static_cast<uint16_t>(middle < 0.5 ? i : i + 1));
    }
  std::vector<uint16_t> got(linear.size());
  encode_codes(GetParam(), 16, linear.data(), got.data(), linear.size());
  EXPECT_EQ(got, want);
}

TEST_P(EveryCode, RowsAgreeWithDoublePrecision) {
  for (double x = 1e-4; x < 60; x *= 1.00031) {
    const float f = static_cast<float>(x);
    float e = 0, d = 0;
    encode(GetParam(), &f, &e, 1);
    decode(GetParam(), &f, &d, 1);
    EXPECT_NEAR(e / encode(GetParam(), double(f)), 1, 3e-6) << x;
    EXPECT_NEAR(d / decode(GetParam(), double(f)), 1, 3e-6) << x;
  }
}

TEST_P(EveryCode, IsMirroredBelowZeroAndGoesOnAboveOne) {
  for (double x : {0.001, 0.02, 0.3, 1.0, 4.0, 30.0}) {
    EXPECT_EQ(encode(GetParam(), -x), -encode(GetParam(), x));
    EXPECT_EQ(decode(GetParam(), -x), -decode(GetParam(), x));
    EXPECT_NEAR(decode(GetParam(), encode(GetParam(), x)), x, 1e-9 * x);
    const float up = static_cast<float>(x), down = -up;
    float a = 0, b = 0;
    encode(GetParam(), &up, &a, 1);
    encode(GetParam(), &down, &b, 1);
    EXPECT_EQ(a, -b);
  }
  EXPECT_EQ(encode(GetParam(), 0.0), 0.0);
}

TEST_P(EveryCode, RisesEverywhere) {
  double before = -1;
  for (double x = -0.1; x < 2; x += 1e-5) {
    const double v = encode(GetParam(), x);
    ASSERT_GT(v, before) << x;
    before = v;
  }
}

TEST_P(EveryCode, IsTheSameWhereverItStandsInARow) {
  // Vectors and their remainders run the same operations.
  std::vector<float> in(37), out(37);
  for (size_t i = 0; i < in.size(); ++i) in[i] = 0.003f + 0.037f * static_cast<float>(i);
  encode(GetParam(), in.data(), out.data(), in.size());
  for (size_t i = 0; i < in.size(); ++i) {
    float one = 0;
    encode(GetParam(), &in[i], &one, 1);
    EXPECT_EQ(one, out[i]);
  }
}

INSTANTIATE_TEST_SUITE_P(Encoding, EveryCode, testing::ValuesIn(all_encodings().begin(), all_encodings().end()),
                         [](const auto& e) {
                           std::string s(name(e.param));
                           for (char& c : s)
                             if (c == '-') c = '_';
                           return s;
                         });

TEST(Encoding, CodesClampAndMakeZeroOfWhatIsNoNumber) {
  const float inf = std::numeric_limits<float>::infinity(), nan = std::numeric_limits<float>::quiet_NaN();
  std::vector<uint8_t> eight(7);
  std::vector<uint16_t> ten(7);
  for (Encoding e : all_encodings()) {
    const float white = ends_at_one(e) ? 1 : 50;  // Codes of HLG end at 3.8, of PQ at 49.3.
    const std::vector<float> in = {-1, -inf, nan, 1.5f * white, inf, 1e30f, white};
    encode_codes(e, in.data(), eight.data(), in.size());
    encode_codes(e, 10, in.data(), ten.data(), in.size());
    EXPECT_EQ(eight, (std::vector<uint8_t>{0, 0, 0, 255, 255, 255, 255}));
    EXPECT_EQ(ten, (std::vector<uint16_t>{0, 0, 0, 1023, 1023, 1023, 1023}));
  }
}

TEST(Encoding, CodesAboveTheDepthAreTheHighest) {
  const uint16_t code = 4000;
  float f = 0;
  decode_codes(Encoding::srgb, 10, &code, &f, 1);
  EXPECT_EQ(f, 1.f);
}

}  // namespace pw::encoding_test
