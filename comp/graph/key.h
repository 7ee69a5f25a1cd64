// Cache keys: a stored result is reused while its key is the same.
#pragma once
#include "comp/graph/scene.h"

namespace pw {

// A 128-bit hash (XXH3, as 32 hexadecimal digits) of everything the node's result comes from: kind and version,
// parameters that change pixels in their canonical text, keys of the inputs, identity of the files, size, frames and
// shutter of the shot, scale, and the target the program was built for.
std::vector<std::string> cache_keys(const Scene& scene);

// The target that "same input, same bytes" holds within.
std::string_view target_name();

}  // namespace pw
