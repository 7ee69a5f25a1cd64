#include "comp/colour/encoding.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <mutex>
#include <vector>

#include "base/elementary.h"
#include "comp/colour/hdr_curve.h"

namespace pw {
namespace {

constexpr std::array kAll = {Encoding::srgb,   Encoding::rec709_camera, Encoding::bt1886,
                             Encoding::linear, Encoding::hlg,           Encoding::pq};

// Every curve here but those of BT.2100 is a straight piece below a knee and an offset power above it: linear L,
// encoded V,
//   V = slope L                          for L <  knee
//   V = (1 + offset) L^(1/power) - offset  otherwise.
struct Curve {
  double slope, knee_linear, knee_encoded, offset, power;
};

// BT.2020 table 4 states offset and knee to 3 and 4 digits; these are the values that make curve and slope continuous,
// as given in CSS Color Module Level 4.
constexpr double kRec709Offset = 0.09929682680944, kRec709Knee = 0.018053968510807;

constexpr Curve curve(Encoding e) {
  switch (e) {
    case Encoding::srgb:
      return {12.92, 0.0031308, 0.04045, 0.055, 2.4};
    case Encoding::rec709_camera:
      return {4.5, kRec709Knee, 4.5 * kRec709Knee, kRec709Offset, 1 / 0.45};
    case Encoding::bt1886:
      return {0, 0, 0, 0, 2.4};
    case Encoding::linear:
    case Encoding::hlg:
    case Encoding::pq:
      break;
  }
  return {1, 0, 0, 0, 1};
}

bool is_hdr(Encoding e) { return e == Encoding::hlg || e == Encoding::pq; }

// In double precision throughout: their logarithms and powers of 79 would eat a float's digits.
double hdr_decode(Encoding e, double v) { return e == Encoding::hlg ? hlg_decode(v) : pq_decode(v); }
double hdr_encode(Encoding e, double l) { return e == Encoding::hlg ? hlg_encode(l) : pq_encode(l); }

// Both branches are computed and one is chosen, so that the loops vectorise.
void decode_row(const Curve& c, const float* in, float* out, size_t count) {
  const float to_linear = c.slope > 0 ? static_cast<float>(1 / c.slope) : 0.f;
  const float knee = static_cast<float>(c.knee_encoded), offset = static_cast<float>(c.offset);
  const float scale = static_cast<float>(1 / (1 + c.offset)), power = static_cast<float>(c.power);
  for (size_t i = 0; i < count; ++i) {
    const float v = std::abs(in[i]);
    const float straight = v * to_linear;
    const float curved = exp2(power * log2((v + offset) * scale));
    out[i] = std::copysign(v <= knee ? straight : curved, in[i]);
  }
}

void encode_row(const Curve& c, const float* in, float* out, size_t count) {
  const float slope = static_cast<float>(c.slope), knee = static_cast<float>(c.knee_linear);
  const float offset = static_cast<float>(c.offset), scale = static_cast<float>(1 + c.offset);
  const float power = static_cast<float>(1 / c.power);
  for (size_t i = 0; i < count; ++i) {
    const float l = std::abs(in[i]);
    const float straight = l * slope;
    const float curved = scale * exp2(power * log2(l)) - offset;
    out[i] = std::copysign(l <= knee ? straight : curved, in[i]);
  }
}

// The decoded value of every code, rounded once from double precision. Made at first use and never changed.
const std::vector<float>& code_table(Encoding e, int bits) {
  static std::array<std::array<std::once_flag, 17>, kAll.size()> made;
  static std::array<std::array<std::vector<float>, 17>, kAll.size()> tables;
  const size_t k = static_cast<size_t>(e);
  std::call_once(made[k][bits], [&] {
    const int last = (1 << bits) - 1;
    std::vector<float> t(last + 1);
    for (int i = 0; i <= last; ++i) t[i] = static_cast<float>(decode(e, double(i) / last));
    tables[k][bits] = std::move(t);
  });
  return tables[k][bits];
}

template <class Code>
void to_codes(Encoding e, int bits, const float* linear, Code* codes, size_t count) {
  constexpr size_t kBlock = 512;
  float v[kBlock];
  const float last = static_cast<float>((1 << bits) - 1);
  for (size_t done = 0; done < count; done += kBlock) {
    const size_t n = std::min(kBlock, count - done);
    for (size_t i = 0; i < n; ++i) v[i] = linear[done + i] > 0 ? linear[done + i] : 0.f;  // Also what is not a number.
    encode(e, v, v, n);
    for (size_t i = 0; i < n; ++i) {
      const float scaled = v[i] * last + 0.5f;
      codes[done + i] = static_cast<Code>(static_cast<int32_t>(scaled < last ? scaled : last));
    }
  }
}

}  // namespace

std::span<const Encoding> all_encodings() { return kAll; }

std::string_view name(Encoding e) {
  switch (e) {
    case Encoding::srgb:
      return "srgb";
    case Encoding::rec709_camera:
      return "rec709-camera";
    case Encoding::bt1886:
      return "bt1886";
    case Encoding::hlg:
      return "hlg";
    case Encoding::pq:
      return "pq";
    case Encoding::linear:
      break;
  }
  return "linear";
}

std::optional<Encoding> encoding(std::string_view wanted) {
  for (Encoding e : kAll)
    if (name(e) == wanted) return e;
  return {};
}

double decode(Encoding e, double encoded) {
  if (e == Encoding::linear) return encoded;
  const double v = std::abs(encoded);
  if (is_hdr(e)) return std::copysign(hdr_decode(e, v), encoded);
  const Curve c = curve(e);
  return std::copysign(
      v <= c.knee_encoded && c.slope > 0 ? v / c.slope : std::pow((v + c.offset) / (1 + c.offset), c.power), encoded);
}

double encode(Encoding e, double linear) {
  if (e == Encoding::linear) return linear;
  const double l = std::abs(linear);
  if (is_hdr(e)) return std::copysign(hdr_encode(e, l), linear);
  const Curve c = curve(e);
  return std::copysign(l <= c.knee_linear ? l * c.slope : (1 + c.offset) * std::pow(l, 1 / c.power) - c.offset, linear);
}

void decode(Encoding e, const float* in, float* out, size_t count) {
  if (e == Encoding::linear)
    std::copy(in, in + count, out);
  else if (is_hdr(e))
    std::transform(in, in + count, out, [e](float v) { return static_cast<float>(decode(e, double{v})); });
  else
    decode_row(curve(e), in, out, count);
}

void encode(Encoding e, const float* in, float* out, size_t count) {
  if (e == Encoding::linear)
    std::copy(in, in + count, out);
  else if (is_hdr(e))
    std::transform(in, in + count, out, [e](float v) { return static_cast<float>(encode(e, double{v})); });
  else
    encode_row(curve(e), in, out, count);
}

void decode_codes(Encoding e, const uint8_t* codes, float* out, size_t count) {
  const float* table = code_table(e, 8).data();
  for (size_t i = 0; i < count; ++i) out[i] = table[codes[i]];
}

void decode_codes(Encoding e, int bits, const uint16_t* codes, float* out, size_t count) {
  const float* table = code_table(e, bits).data();
  const uint16_t last = static_cast<uint16_t>((1 << bits) - 1);
  for (size_t i = 0; i < count; ++i) out[i] = table[std::min(codes[i], last)];
}

void encode_codes(Encoding e, const float* linear, uint8_t* codes, size_t count) {
  to_codes(e, 8, linear, codes, count);
}

void encode_codes(Encoding e, int bits, const float* linear, uint16_t* codes, size_t count) {
  to_codes(e, bits, linear, codes, count);
}

}  // namespace pw
