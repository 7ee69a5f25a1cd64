// The light of rain taken off a picture.
#pragma once
#include <array>

#include "base/picture.h"
#include "base/surroundings.h"

namespace pw {

// The picture over `rect`, less what rain adds to it on average: Noise::rain times the light around. What lay above 0
// does not go below.
Picture dried(const Picture& picture, const std::array<double, 3>& rain, const Surroundings& around, const Rect& rect);

}  // namespace pw
