// Single SVG elements: what they are called and what they draw.
#pragma once
#include <pugixml.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "base/contour.h"

namespace pw {

// The element's name when it is SVG's: without a prefix, or with the prefix svg. Empty for others.
std::string_view svg_name(pugi::xml_node n);
bool svg_is_group(std::string_view name);  // svg, g, a, switch
bool svg_is_shape(std::string_view name);

// Its id, aria-label and <title>, those it has, each once.
std::vector<std::string> svg_names(pugi::xml_node n);

// A property from the style attribute, else from the attribute of that name; empty when it has neither.
std::string_view svg_property(pugi::xml_node n, std::string_view name);

struct SvgElement {
  std::vector<Contour> contours;  // In the element's own coordinates.
  std::string fault, remedy;      // Empty: all was understood.
  bool too_many = false;          // There are more than `most_knots` knots.
};
// What a shape draws. One whose size is 0, or that has no size, draws nothing.
SvgElement svg_outline(pugi::xml_node n, size_t most_knots);

// For messages: at most 40 characters, printable.
std::string shortened(std::string_view text);

}  // namespace pw
