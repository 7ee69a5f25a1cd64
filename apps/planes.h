// Which planes of a shot can be followed.
#pragma once
#include "apps/command.h"

namespace pw {

// Lists the planes that can be followed, best first, each with reference and region as they stand in a shot file and
// the reason; of a shot, or of footage alone. With --out a page of pictures: for each plane its reference frame with
// the regions of all that are seen on it, its own bold, and the first and the last frame that show it.
int list_planes(const ProbeCommand& c);

}  // namespace pw
