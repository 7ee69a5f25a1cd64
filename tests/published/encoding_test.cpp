// Transfer curves against published values.
#include "comp/colour/encoding.h"

#include <gtest/gtest.h>

#include <cmath>

namespace pw::encoding_test {

// IEC 61966-2-1:1999; formula as in CSS Color Module Level 4 (W3C, sample code) and WCAG, "relative luminance".
TEST(PublishedEncoding, SrgbValueOfTheColourScienceTests) {
  // Published: colour-science/colour, tests/test_srgb.py.
  EXPECT_NEAR(encode(Encoding::srgb, 0.18), 0.461356129500442, 1e-15);
}

TEST(PublishedEncoding, SrgbCodes) {  // Derived from the published formula.
  const struct {
    int code;
    double linear;
  } rows[] = {{0, 0},
              {1, 0.000303527},
              {10, 0.003035270},
              {11, 0.003346536},
              {12, 0.003676507},
              {32, 0.014443844},
              {64, 0.051269458},
              {118, 0.181164244},
              {128, 0.215860500},
              {188, 0.502886458},
              {192, 0.527115126},
              {224, 0.745404210},
              {254, 0.991102097},
              {255, 1}};
  for (const auto& row : rows) {
    EXPECT_NEAR(decode(Encoding::srgb, row.code / 255.0), row.linear, 5.1e-10) << row.code;
    const auto code = static_cast<uint8_t>(row.code);
    float linear = 0;
    decode_codes(Encoding::srgb, &code, &linear, 1);
    EXPECT_NEAR(linear, row.linear, 6e-8) << row.code;
  }
  EXPECT_NEAR(decode(Encoding::srgb, 0.5), 0.214041140482, 5e-13);
  EXPECT_NEAR(encode(Encoding::srgb, 0.5), 0.735356983, 5e-10);
}

TEST(PublishedEncoding, SrgbKnee) {  // Derived: the standard's rounded constants do not meet exactly.
  EXPECT_NEAR(encode(Encoding::srgb, 0.0031308), 0.040449936, 1e-15);
  EXPECT_NEAR(decode(Encoding::srgb, 0.04045), 0.00313080495, 5e-12);
}

// ITU-R BT.709-6 writes 1.099 and 0.018, which leave a step of 0.00025; the curve here has the constants that close it,
// published in CSS Color Module Level 4 (sample code): alpha 1.09929682680944, beta 0.018053968510807. It stays within
// 0.0003 of the standard's: less than a third of a 10-bit code.
TEST(PublishedEncoding, Rec709WithTheConstantsThatCloseTheStep) {
  const double alpha = 1.09929682680944, beta = 0.018053968510807;
  EXPECT_NEAR(encode(Encoding::rec709_camera, beta), 4.5 * beta, 1e-15);
  EXPECT_NEAR(encode(Encoding::rec709_camera, beta * (1 + 1e-9)), 4.5 * beta, 1e-9);
  EXPECT_NEAR(encode(Encoding::rec709_camera, 0.18), alpha * std::pow(0.18, 0.45) - (alpha - 1), 1e-15);
  EXPECT_NEAR(encode(Encoding::rec709_camera, 1), 1, 1e-14);
}

TEST(PublishedEncoding, Rec709IsNearTheStandardsOwnFigures) {
  const struct {
    double linear, encoded;
  } rows[] = {{0.015, 0.0675},            // Published: colour-science/colour, ITU-R BT.709 tests.
              {0.18, 0.409007728864150},  // Published: the same.
              {1, 1},                     // Published: the same.
              {0.01, 0.045},              // This and the rest: derived from the formula in BT.709-6.
              {0.018, 0.0812479},
              {0.1, 0.290939915},
              {0.5, 0.705515090},
              {0.9, 0.949109896}};
  for (const auto& row : rows) {
    EXPECT_NEAR(encode(Encoding::rec709_camera, row.linear), row.encoded, 3e-4) << row.linear;
    EXPECT_NEAR(decode(Encoding::rec709_camera, row.encoded), row.linear, 3e-4) << row.linear;
  }
  EXPECT_NEAR(encode(Encoding::rec709_camera, 0.015), 0.0675, 1e-15);
}

// ITU-R BT.1886 (2011), annex 1, with a white of 1 and a black of 0.
TEST(PublishedEncoding, Bt1886) {
  // Published: colour-science/colour, ITU-R BT.1886 tests; the first is quoted to seven digits, cut off.
  EXPECT_NEAR(decode(Encoding::bt1886, 0.409007728864150), 0.1169918, 1e-7);
  EXPECT_NEAR(encode(Encoding::bt1886, 0.016317514686316), 0.18, 1e-12);
  // Derived, for a white of 100 cd/m2 and a black of 0.
  EXPECT_NEAR(100 * decode(Encoding::bt1886, 0.1), 0.398107, 5e-7);
  EXPECT_NEAR(100 * decode(Encoding::bt1886, 0.25), 3.589682, 5e-7);
  EXPECT_NEAR(100 * decode(Encoding::bt1886, 0.5), 18.946457, 5e-7);
  EXPECT_NEAR(100 * decode(Encoding::bt1886, 0.75), 50.135694, 5e-7);
  EXPECT_NEAR(100 * decode(Encoding::bt1886, 1), 100, 1e-12);
}

// ITU-R BT.2408, table 1: nominal signals, in whole percent (from memory). Grey of 18 % reflectance, white of 90 %
// (reference white is a reflectance of 100 %), reference white.
TEST(PublishedEncoding, Bt2408NominalSignals) {
  EXPECT_NEAR(encode(Encoding::pq, 1), 0.58, 0.005);  // 203 cd/m2
  EXPECT_NEAR(encode(Encoding::pq, 26.0 / 203), 0.38, 0.005);
  EXPECT_NEAR(encode(Encoding::hlg, 1), 0.75, 1e-9);
  EXPECT_NEAR(encode(Encoding::hlg, 0.18), 0.38, 0.005);
  EXPECT_NEAR(encode(Encoding::hlg, 0.9), 0.73, 0.005);
}

// ITU-R BT.2100-2, tables 4 and 5: derived from the formulas, whose constants are from memory.
TEST(PublishedEncoding, Bt2100) {
  const double pq_white = 203.0 / 10000;
  EXPECT_NEAR(decode(Encoding::pq, 1), 1 / pq_white, 1e-9);
  EXPECT_NEAR(encode(Encoding::pq, 100.0 / 203), 0.508078, 1e-6);
  EXPECT_NEAR(encode(Encoding::pq, 1000.0 / 203), 0.751827, 1e-6);
  // The two pieces of HLG meet at a signal of one half, a twelfth of full light; full light is a signal of 1.
  const double full = decode(Encoding::hlg, 1);
  EXPECT_NEAR(decode(Encoding::hlg, 0.5) / full, 1.0 / 12, 1e-8);
  EXPECT_NEAR(encode(Encoding::hlg, full / 12 * (1 + 1e-9)), 0.5, 1e-7);
  EXPECT_NEAR(decode(Encoding::hlg, 0.25) / full, 1.0 / 48, 1e-8);
}

}  // namespace pw::encoding_test
