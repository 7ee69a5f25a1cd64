// Transfer curves between stored (encoded) values and scene-linear light. 0 is black and 1 is white on both sides, but
// for hlg and pq; both directions go on above 1 with the same formula (pq ends where its standard does) and are
// mirrored through the origin below 0, so that nothing is lost.
#pragma once
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

namespace pw {

// srgb: IEC 61966-2-1. rec709_camera: what a camera did to light, ITU-R BT.709, undone; with the constants of ITU-R
// BT.2020 in full precision, so that the curve has no step. bt1886: what a reference screen makes of the signal, ITU-R
// BT.1886 with a black of 0: gamma 2.4. hlg, pq: ITU-R BT.2100, with reference white at 1 (see hdr_curve.h). linear:
// nothing.
enum class Encoding { srgb, rec709_camera, bt1886, linear, hlg, pq };

std::span<const Encoding> all_encodings();
std::string_view name(Encoding e);  // "srgb", "rec709-camera", "bt1886", "linear", "hlg", "pq".
std::optional<Encoding> encoding(std::string_view name);

// One value, in double precision.
double decode(Encoding e, double encoded);
double encode(Encoding e, double linear);

// Rows of floats; `out` may be `in`. Relative error below 3e-6 for values from 1e-4 to 60.
void decode(Encoding e, const float* in, float* out, size_t count);
void encode(Encoding e, const float* in, float* out, size_t count);

// Rows of whole code values of `bits` bits, 8 to 16, in which 0 stands for 0.0 and 2^bits - 1 for 1.0. Encoding rounds
// to the nearest code, clamps to the range and makes 0 of what is not a number. Decoding a code and encoding the result
// returns that code, for every code of every encoding.
void decode_codes(Encoding e, const uint8_t* codes, float* out, size_t count);
void decode_codes(Encoding e, int bits, const uint16_t* codes, float* out, size_t count);
void encode_codes(Encoding e, const float* linear, uint8_t* codes, size_t count);
void encode_codes(Encoding e, int bits, const float* linear, uint16_t* codes, size_t count);

}  // namespace pw
