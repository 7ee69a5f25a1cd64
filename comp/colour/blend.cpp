#include "comp/colour/blend.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace pw {
namespace {

constexpr std::string_view kOperators[] = {"clear",
                                           "copy",
                                           "destination",
                                           "over",
                                           "destination-over",
                                           "in",
                                           "destination-in",
                                           "out",
                                           "destination-out",
                                           "atop",
                                           "destination-atop",
                                           "xor",
                                           "plus"};
constexpr std::pair<std::string_view, PorterDuff> kOtherNames[] = {{"source-over", PorterDuff::over},
                                                                   {"source-in", PorterDuff::in},
                                                                   {"source-out", PorterDuff::out},
                                                                   {"source-atop", PorterDuff::atop},
                                                                   {"lighter", PorterDuff::plus}};
constexpr std::string_view kModes[] = {
    "normal",     "multiply",   "screen",     "overlay",   "darken", "lighten",    "color-dodge", "color-burn",
    "hard-light", "soft-light", "difference", "exclusion", "hue",    "saturation", "color",       "luminosity"};

template <class T, size_t N>
constexpr std::array<T, N> counted() {
  std::array<T, N> a{};
  for (size_t i = 0; i < N; ++i) a[i] = static_cast<T>(i);
  return a;
}
constexpr auto kAllOperators = counted<PorterDuff, std::size(kOperators)>();
constexpr auto kAllModes = counted<BlendMode, std::size(kModes)>();

// Separable modes on 0 to 1.
template <class T>
T separable(BlendMode mode, T b, T s) {
  switch (mode) {
    case BlendMode::multiply:
      return b * s;
    case BlendMode::screen:
      return b + s - b * s;
    case BlendMode::overlay:
      return separable(BlendMode::hard_light, s, b);
    case BlendMode::darken:
      return std::min(b, s);
    case BlendMode::lighten:
      return std::max(b, s);
    case BlendMode::color_dodge:
      return b <= 0 ? T(0) : s >= 1 ? T(1) : std::min(T(1), b / (1 - s));
    case BlendMode::color_burn:
      return b >= 1 ? T(1) : s <= 0 ? T(0) : 1 - std::min(T(1), (1 - b) / s);
    case BlendMode::hard_light:
      return s <= T(0.5) ? b * (2 * s) : b + (2 * s - 1) - b * (2 * s - 1);
    case BlendMode::soft_light: {
      if (s <= T(0.5)) return b - (1 - 2 * s) * b * (1 - b);
      const T d = b <= T(0.25) ? ((16 * b - 12) * b + 4) * b : std::sqrt(b);
      return b + (2 * s - 1) * (d - b);
    }
    case BlendMode::difference:
      return std::abs(b - s);
    case BlendMode::exclusion:
      return b + s - 2 * b * s;
    default:
      return s;
  }
}

template <class T>
using Rgb = std::array<T, 3>;

template <class T>
T lum(const Rgb<T>& c) {
  return T(0.3) * c[0] + T(0.59) * c[1] + T(0.11) * c[2];
}
template <class T>
T sat(const Rgb<T>& c) {
  return std::max({c[0], c[1], c[2]}) - std::min({c[0], c[1], c[2]});
}

// Shifted to luminosity l, then drawn towards grey as far as needed to lie within 0 to 1.
template <class T>
Rgb<T> set_lum(Rgb<T> c, T l) {
  const T d = l - lum(c);
  for (T& v : c) v += d;
  const T grey = lum(c), lowest = std::min({c[0], c[1], c[2]}), highest = std::max({c[0], c[1], c[2]});
  if (lowest < 0)
    for (T& v : c) v = grey + (v - grey) * grey / (grey - lowest);
  if (highest > 1)
    for (T& v : c) v = grey + (v - grey) * (1 - grey) / (highest - grey);
  return c;
}

template <class T>
Rgb<T> set_sat(Rgb<T> c, T s) {
  const T lowest = std::min({c[0], c[1], c[2]}), range = sat(c);
  for (T& v : c) v = range > 0 ? (v - lowest) * s / range : T(0);
  return c;
}

template <class T>
Rgb<T> mode_on_range(BlendMode mode, const Rgb<T>& b, const Rgb<T>& s) {
  switch (mode) {
    case BlendMode::hue:
      return set_lum(set_sat(s, sat(b)), lum(b));
    case BlendMode::saturation:
      return set_lum(set_sat(b, sat(s)), lum(b));
    case BlendMode::color:
      return set_lum(s, lum(b));
    case BlendMode::luminosity:
      return set_lum(b, lum(s));
    default:
      return {separable(mode, b[0], s[0]), separable(mode, b[1], s[1]), separable(mode, b[2], s[2])};
  }
}

bool takes_any_value(BlendMode mode) {
  return mode == BlendMode::normal || mode == BlendMode::multiply || mode == BlendMode::darken ||
         mode == BlendMode::lighten || mode == BlendMode::difference;
}

template <class T>
Rgb<T> blended(BlendMode mode, const Rgb<T>& b, const Rgb<T>& s) {
  if (takes_any_value(mode)) return mode_on_range(mode, b, s);
  Rgb<T> held_b, held_s;
  for (int k = 0; k < 3; ++k) held_b[k] = std::clamp(b[k], T(0), T(1)), held_s[k] = std::clamp(s[k], T(0), T(1));
  Rgb<T> r = mode_on_range(mode, held_b, held_s);
  for (int k = 0; k < 3; ++k) r[k] += b[k] - held_b[k];
  return r;
}

// One mode for a whole row, so that the choice is made outside of the loop.
template <BlendMode mode>
void row_of(const float* back, const float* front, float* out, int count) {
  for (int i = 0; i < count; ++i, back += 4, front += 4, out += 4) {
    const float ab = back[3], as = front[3];
    Rgb<float> mixed{front[0], front[1], front[2]};
    if (ab > 0 && as > 0) {
      const Rgb<float> b{back[0] / ab, back[1] / ab, back[2] / ab};
      const Rgb<float> s{front[0] / as, front[1] / as, front[2] / as};
      const Rgb<float> r = blended(mode, b, s);
      for (int k = 0; k < 3; ++k) mixed[k] = (1 - ab) * front[k] + as * ab * r[k];
    }
    out[0] = mixed[0], out[1] = mixed[1], out[2] = mixed[2], out[3] = as;
  }
}

using Row = void (*)(const float*, const float*, float*, int);
template <size_t... I>
constexpr std::array<Row, sizeof...(I)> rows(std::index_sequence<I...>) {
  return {&row_of<static_cast<BlendMode>(I)>...};
}
constexpr auto kRows = rows(std::make_index_sequence<std::size(kModes)>());

}  // namespace

std::span<const PorterDuff> all_porter_duff() { return kAllOperators; }
std::string_view name(PorterDuff op) { return kOperators[static_cast<int>(op)]; }
std::optional<PorterDuff> porter_duff(std::string_view name) {
  for (PorterDuff op : kAllOperators)
    if (pw::name(op) == name) return op;
  for (const auto& [other, op] : kOtherNames)
    if (other == name) return op;
  return std::nullopt;
}

Shares shares(PorterDuff op) {
  switch (op) {
    case PorterDuff::clear:
      return {0, 0, 0, 0};
    case PorterDuff::copy:
      return {1, 0, 0, 0};
    case PorterDuff::destination:
      return {0, 0, 1, 0};
    case PorterDuff::over:
      return {1, 0, 1, -1};
    case PorterDuff::destination_over:
      return {1, -1, 1, 0};
    case PorterDuff::in:
      return {0, 1, 0, 0};
    case PorterDuff::destination_in:
      return {0, 0, 0, 1};
    case PorterDuff::out:
      return {1, -1, 0, 0};
    case PorterDuff::destination_out:
      return {0, 0, 1, -1};
    case PorterDuff::atop:
      return {0, 1, 1, -1};
    case PorterDuff::destination_atop:
      return {1, -1, 0, 1};
    case PorterDuff::exclusive_or:
      return {1, -1, 1, -1};
    case PorterDuff::plus:
      return {1, 0, 1, 0};
  }
  return {0, 0, 1, 0};
}

double composite(PorterDuff op, double source, double source_alpha, double backdrop, double backdrop_alpha) {
  const Shares s = shares(op);
  return source * (s.a0 + s.a1 * backdrop_alpha) + backdrop * (s.b0 + s.b1 * source_alpha);
}

std::span<const BlendMode> all_blend_modes() { return kAllModes; }
std::string_view name(BlendMode mode) { return kModes[static_cast<int>(mode)]; }
std::optional<BlendMode> blend_mode(std::string_view name) {
  for (BlendMode mode : kAllModes)
    if (pw::name(mode) == name) return mode;
  return std::nullopt;
}

void blend(BlendMode mode, const double backdrop[3], double source[3]) {
  const Rgb<double> r =
      blended<double>(mode, {backdrop[0], backdrop[1], backdrop[2]}, {source[0], source[1], source[2]});
  std::copy(r.begin(), r.end(), source);
}

void blend_row(BlendMode mode, const float* backdrop, const float* source, float* mixed, int count) {
  kRows[static_cast<int>(mode)](backdrop, source, mixed, count);
}

}  // namespace pw
