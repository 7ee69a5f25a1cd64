// Which contour of one drawing is which of the next.
#pragma once
#include <span>
#include <utility>
#include <vector>

#include "base/contour.h"

namespace pw {

// Which contour of `to` is the next drawing of which of `from`: pairs of indices, each index once. Equally many: in the
// order drawn, unless pairing by place and size fits far better (a quarter of the squared distance).
std::vector<std::pair<size_t, size_t>> paired(std::span<const Contour> from, std::span<const Contour> to);

}  // namespace pw
