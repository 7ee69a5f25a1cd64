// What text and pictures become inside SVG and HTML.
#pragma once
#include <string>
#include <string_view>

namespace pw {

// Bytes as RFC 4648, section 4, has them.
std::string base64(std::string_view bytes);

// UTF-8 text as content or as the value of an attribute in double quotes.
std::string escaped(std::string_view text);

}  // namespace pw
