#include "comp/media/stored_row.h"

#include <algorithm>
#include <cmath>
#include <cstring>

#include "comp/media/half_float.h"

namespace pw {
namespace {

using Component = StoredRow::Component;
using Alpha = StoredRow::Alpha;

size_t count(const StoredRow& how, int width) { return static_cast<size_t>(width) * how.channels; }
bool whole_numbers(const StoredRow& how) {
  return how.component == Component::uint8 || how.component == Component::uint16;
}
float last_code(const StoredRow& how) { return static_cast<float>((1 << how.bits) - 1); }

void multiply(const StoredRow& how, float* v, int width) {
  for (int x = 0; x < width; ++x, v += how.channels)
    for (int c = 0; c + 1 < how.channels; ++c) v[c] *= v[how.channels - 1];
}

void divide(const StoredRow& how, float* v, int width) {
  for (int x = 0; x < width; ++x, v += how.channels)
    if (v[how.channels - 1] > 0)
      for (int c = 0; c + 1 < how.channels; ++c) v[c] /= v[how.channels - 1];
}

// Applies `curve` to everything but alpha.
template <class Curve>
void apply(const StoredRow& how, Curve curve, float* v, int width) {
  if (how.encoding == Encoding::linear) return;
  if (how.alpha == Alpha::none) return curve(how.encoding, v, v, count(how, width));
  for (int x = 0; x < width; ++x, v += how.channels) curve(how.encoding, v, v, static_cast<size_t>(how.channels) - 1);
}
constexpr auto kDecode = [](Encoding e, const float* in, float* out, size_t n) { decode(e, in, out, n); };
constexpr auto kEncode = [](Encoding e, const float* in, float* out, size_t n) { encode(e, in, out, n); };

int64_t make_finite(float* v, size_t n) {
  int64_t odd = 0;
  for (size_t i = 0; i < n; ++i) {
    if (std::isfinite(v[i])) continue;
    v[i] = std::isnan(v[i]) ? 0 : std::copysign(kMostHalf, v[i]);
    ++odd;
  }
  return odd;
}

void from_codes(const StoredRow& how, Encoding e, unsigned char* stored, size_t n, float* row) {
  if (how.component == Component::uint8) {
    decode_codes(e, stored, row, n);
    if (how.alpha == Alpha::straight)
      for (size_t i = how.channels - 1; i < n; i += how.channels) row[i] = static_cast<float>(stored[i]) / 255;
    return;
  }
  auto* v = reinterpret_cast<uint16_t*>(stored);
  if (how.bits < 16)
    for (size_t i = 0; i < n; ++i) v[i] = static_cast<uint16_t>(v[i] >> (16 - how.bits));
  decode_codes(e, how.bits, v, row, n);
  if (how.alpha == Alpha::straight)
    for (size_t i = how.channels - 1; i < n; i += how.channels) row[i] = static_cast<float>(v[i]) / last_code(how);
}

void to_codes(const StoredRow& how, Encoding e, const float* row, size_t n, unsigned char* stored) {
  auto* wide = reinterpret_cast<uint16_t*>(stored);
  const bool narrow = how.component == Component::uint8;
  if (narrow)
    encode_codes(e, row, stored, n);
  else
    encode_codes(e, how.bits, row, wide, n);
  if (how.alpha == Alpha::straight && e != Encoding::linear)
    for (size_t i = how.channels - 1; i < n; i += how.channels) {
      if (narrow)
        encode_codes(Encoding::linear, row + i, stored + i, 1);
      else
        encode_codes(Encoding::linear, how.bits, row + i, wide + i, 1);
    }
  if (!narrow && how.bits < 16)
    for (size_t i = 0; i < n; ++i)
      wide[i] = static_cast<uint16_t>(wide[i] << (16 - how.bits) | wide[i] >> (2 * how.bits - 16));
}

}  // namespace

void decode_row(const StoredRow& how, unsigned char* stored, int width, float* row, OddValues& odd) {
  const size_t n = count(how, width);
  if (whole_numbers(how) && how.alpha != Alpha::associated) {
    from_codes(how, how.encoding, stored, n, row);
  } else {
    if (whole_numbers(how)) {
      from_codes(how, Encoding::linear, stored, n, row);
    } else {
      if (how.component == Component::half)
        half_to_float(reinterpret_cast<const uint16_t*>(stored), row, n);
      else
        std::memcpy(row, stored, n * sizeof(float));
      odd.not_finite += make_finite(row, n);
    }
    // Light is multiplied by alpha, not code values: what was multiplied while encoded is divided first.
    const bool detour = how.alpha == Alpha::associated && how.encoding != Encoding::linear;
    if (detour) divide(how, row, width);
    apply(how, kDecode, row, width);
    if (detour) multiply(how, row, width);
  }
  if (how.alpha == Alpha::straight) multiply(how, row, width);
}

void encode_row(const StoredRow& how, float* row, int width, unsigned char* stored, OddValues& odd) {
  const size_t n = count(how, width);
  for (size_t i = 0; i < n; ++i)
    if (!std::isfinite(row[i])) {
      row[i] = 0;
      ++odd.not_finite;
    }
  const bool detour = how.alpha == Alpha::associated && how.encoding != Encoding::linear;
  if (how.alpha == Alpha::straight || detour) divide(how, row, width);
  if (whole_numbers(how) && how.alpha != Alpha::associated) return to_codes(how, how.encoding, row, n, stored);
  apply(how, kEncode, row, width);
  if (detour) multiply(how, row, width);
  if (whole_numbers(how)) return to_codes(how, Encoding::linear, row, n, stored);
  if (how.component == Component::float32) {
    std::memcpy(stored, row, n * sizeof(float));
    return;
  }
  for (size_t i = 0; i < n; ++i)
    if (std::abs(row[i]) > kMostHalf) {
      row[i] = std::copysign(kMostHalf, row[i]);
      ++odd.too_large;
    }
  float_to_half(row, reinterpret_cast<uint16_t*>(stored), n);
}

}  // namespace pw
