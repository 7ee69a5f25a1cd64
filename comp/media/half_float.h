// Half floats (IEEE 754 binary16) as EXR stores them: exact to float; to half rounded to the nearest, ties to even.
#pragma once
#include <cstddef>
#include <cstdint>

namespace pw {

constexpr float kMostHalf = 65504;  // The largest finite half.

void half_to_float(const uint16_t* in, float* out, size_t count);
// From 65520 on the result is infinite; below 2^-25 it is zero.
void float_to_half(const float* in, uint16_t* out, size_t count);

}  // namespace pw
