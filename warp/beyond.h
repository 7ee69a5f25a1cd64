// What is shown beyond the ends of a picture, on whole pixels.
#pragma once
#include <optional>

#include "warp/resample.h"

namespace pw {

// Of pixels begin ... end - 1 in a row, the one shown at `i`; none where it is clear. begin < end.
std::optional<int> shown_at(int i, int begin, int end, Edge edge);

// `source`, a picture that ends at `ends`, or the part of it that beyond_reach() names, over `rect`.
Picture with_beyond(const Picture& source, const Rect& ends, Edge edge, const Rect& rect);
Rect beyond_reach(const Rect& ends, Edge edge, const Rect& rect);

}  // namespace pw
