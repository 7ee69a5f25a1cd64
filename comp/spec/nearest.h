// The name a person probably meant.
#pragma once
#include <string>
#include <string_view>
#include <vector>

namespace pw {

// The candidate with the fewest edits (insert, delete, replace, swap of neighbours: Damerau 1964) from `word`, when
// that is at most a third of its length (at least 1); else empty.
std::string nearest(std::string_view word, const std::vector<std::string>& candidates);

}  // namespace pw
