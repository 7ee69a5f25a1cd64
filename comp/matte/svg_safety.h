// What makes a drawing one that is refused as a whole.
#pragma once
#include <optional>
#include <string_view>

#include "base/problem.h"

namespace pugi {
class xml_document;
}

namespace pw {

// Before it is parsed: other encodings, compressed files, and more markup than any drawing needs (2 million marks),
// because parsing takes memory for each.
std::optional<Problem> svg_unsafe_text(std::string_view text);

struct SvgUnsafe {
  size_t offset;  // Of the element, in the text.
  Problem problem;
};
// Entities, style sheets from elsewhere, scripts, and references that leave the file; a picture may lie in a file
// beside it, since pictures are not read.
std::optional<SvgUnsafe> svg_unsafe(const pugi::xml_document& document);

}  // namespace pw
