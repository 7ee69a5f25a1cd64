// Places given as "x,y x,y".
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "base/transform.h"

namespace pw {

// Nothing when the text is anything else, or a number is 1e6 or more.
std::optional<std::vector<Point>> points_in(const std::string& text);

}  // namespace pw
