// exp, log, pow, sin and cos for pixel code: our own, so that results do not depend on the C library, and inline, so
// that loops vectorise. Only + - * and bit operations in a fixed order. Errors are held by
// tests/base/elementary_test.cpp.
#pragma once
#include <bit>
#include <cstdint>

namespace pw {

// log2 of a positive normal float; relative error below 3e-7 (absolute below 2e-7 near 1). Zero, subnormals and
// negatives give about -127.
inline float log2(float x) {
  // Mantissa m in [sqrt(1/2), sqrt 2): log2 m = 2/ln2 * atanh(s), s = (m - 1) / (m + 1).
  int32_t bits = std::bit_cast<int32_t>(x);
  bits = bits < 0x00800000 ? 0x00800000 : bits;
  const int32_t e = (bits - 0x3f3504f3) >> 23;
  const float m = std::bit_cast<float>(bits - (e << 23));
  const float s = (m - 1) / (m + 1);
  const float z = s * s;
  const float p = 2.88539008f + z * (0.961796694f + z * (0.577078016f + z * (0.412198583f + z * 0.339f)));
  return static_cast<float>(e) + s * p;
}

// 2^x; relative error below 2.5e-7 for -126 <= x <= 127; clamped outside.
inline float exp2(float x) {
  x = x < -126 ? -126.f : x > 127 ? 127.f : x;
  const float shifted = x + 12582912.f;  // 1.5 * 2^23: rounds to the nearest whole number.
  const float whole = shifted - 12582912.f;
  const float f = x - whole;  // -1/2 .. 1/2
  const float p =
      1 + f * (0.69314718f +
               f * (0.24022651f +
                    f * (0.05550411f + f * (0.00961813f + f * (0.00133336f + f * (0.00015403f + f * 0.0000152527f))))));
  return std::bit_cast<float>(std::bit_cast<int32_t>(p) + (static_cast<int32_t>(whole) << 23));
}

inline float log(float x) { return log2(x) * 0.693147181f; }
inline float exp(float x) { return exp2(x * 1.44269504f); }

// x^y for x >= 0 (0 for x <= 0). Relative error below 2e-6 for results between 1e-6 and 1e6 and |y| <= 4.
inline float pow(float x, float y) { return x > 0 ? exp2(y * log2(x)) : 0.f; }

// sin and cos of a whole turn times t: sin_turn(0.25) = 1. Absolute error below 5e-7 for |t| <= 1000.
inline float sin_turn(float t) {
  const float shifted = 2 * t + 12582912.f;
  const float whole = shifted - 12582912.f;  // Nearest half turn.
  const float f = 2 * t - whole;             // -1/2 .. 1/2 half turns.
  const float z = f * f;
  const float p =
      f * (3.14159265f +
           z * (-5.16771278f + z * (2.55016404f + z * (-0.599264529f + z * (0.0821458867f + z * -0.00737043f)))));
  return (std::bit_cast<int32_t>(shifted) & 1) ? -p : p;
}
inline float cos_turn(float t) {
  t = t - static_cast<float>(static_cast<int32_t>(t));
  return sin_turn(t + 0.25f);
}

}  // namespace pw
