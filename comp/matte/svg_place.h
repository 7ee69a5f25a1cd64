// How an SVG element's own coordinates lie on the page: transforms, lengths, view boxes (SVG 1.1, chapter 7).
#pragma once
#include <optional>
#include <string_view>

#include "base/transform.h"

namespace pw {

// "translate(3,4) rotate(30)" and the like, applied right to left; nothing when it cannot be read.
std::optional<Matrix3> parse_transform(std::string_view text);

// In CSS pixels, 96 to the inch (CSS Values 3): a bare number, px, in, cm, mm, q, pt, pc. Nothing for anything else,
// percentages and em among them.
std::optional<double> parse_length(std::string_view text);

struct ViewBox {
  double x, y, width, height;
};
std::optional<ViewBox> parse_view_box(std::string_view text);

// Fits the box into width x height as preserveAspectRatio says; when it is empty: as a whole, in the middle.
std::optional<Matrix3> fitted(const ViewBox& box, double width, double height, std::string_view preserve_aspect_ratio);

}  // namespace pw
