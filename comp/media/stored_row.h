// Between a row as a file stores it and a row of a picture: code values or floats, encoded, alpha straight or
// multiplied in, on one side; linear floats with alpha premultiplied on the other.
#pragma once
#include <cstdint>

#include "comp/colour/encoding.h"

namespace pw {

struct StoredRow {
  enum class Component { uint8, uint16, half, float32 };
  // straight: colour is not multiplied by alpha. associated: encoded colour is multiplied by alpha.
  enum class Alpha { none, straight, associated };

  Component component = Component::uint8;
  int bits = 8;  // Of uint8 and uint16, 8 to 16; fewer than 16 lie in the high bits of a uint16 and are repeated below.
  Encoding encoding = Encoding::linear;
  int channels = 1;  // Interleaved; the last is alpha, which is never encoded, unless there is none.
  Alpha alpha = Alpha::none;

  int component_bytes() const { return component == Component::uint8 ? 1 : component == Component::float32 ? 4 : 2; }
};

// Numbers that had to be changed.
struct OddValues {
  int64_t not_finite = 0;  // Read as 0 or +-65504; written as 0.
  int64_t too_large = 0;   // Beyond what a half float holds; written as +-65504.
};

// `stored` may be written to and must be aligned for its component.
void decode_row(const StoredRow& how, unsigned char* stored, int width, float* row, OddValues& odd);

// `row` is used up. Straight colour under zero alpha is stored as it stands.
void encode_row(const StoredRow& how, float* row, int width, unsigned char* stored, OddValues& odd);

}  // namespace pw
