// How two layers share a pixel: the operators of T. Porter, T. Duff, "Compositing Digital Images", Computer Graphics
// 18(3), SIGGRAPH 1984, and the blend modes of W3C Compositing and Blending Level 1.
#pragma once
#include <optional>
#include <span>
#include <string_view>

namespace pw {

enum class PorterDuff {
  clear,
  copy,
  destination,
  over,
  destination_over,
  in,
  destination_in,
  out,
  destination_out,
  atop,
  destination_atop,
  exclusive_or,
  plus
};
std::span<const PorterDuff> all_porter_duff();
std::string_view name(PorterDuff op);  // "over", "destination-over", ..., "xor", "plus".
// Also by W3C's names for those it calls source-over, source-in, source-out, source-atop and lighter.
std::optional<PorterDuff> porter_duff(std::string_view name);

// Result = source * (a0 + a1 * backdrop alpha) + backdrop * (b0 + b1 * source alpha), for premultiplied colour and for
// alpha.
struct Shares {
  float a0, a1, b0, b1;
};
Shares shares(PorterDuff op);
// One premultiplied channel, or alpha itself when given the alphas. Not clamped: plus can give an alpha above 1.
double composite(PorterDuff op, double source, double source_alpha, double backdrop, double backdrop_alpha);

enum class BlendMode {
  normal,
  multiply,
  screen,
  overlay,
  darken,
  lighten,
  color_dodge,
  color_burn,
  hard_light,
  soft_light,
  difference,
  exclusion,
  hue,
  saturation,
  color,
  luminosity
};
std::span<const BlendMode> all_blend_modes();
std::string_view name(BlendMode mode);  // W3C's: "color-dodge" ...
std::optional<BlendMode> blend_mode(std::string_view name);

// B(Cb, Cs) for colours that are not premultiplied, in place of `source`. W3C defines it on 0 to 1. Beyond: normal,
// multiply, darken, lighten and difference take any value. All others work on values held to 0 to 1, and what the
// backdrop had beyond that is added back, so that a lamp brighter than white stays as bright and nothing jumps at 1.
void blend(BlendMode mode, const double backdrop[3], double source[3]);

// The source of a row of pixels mixed with the backdrop, still under its own alpha: (1 - ab) Cs + ab B(Cb, Cs), of
// premultiplied RGBA, to premultiplied RGBA. Light without alpha (alpha 0, colour not) has no colour to blend and
// stays.
void blend_row(BlendMode mode, const float* backdrop, const float* source, float* mixed, int count);

}  // namespace pw
