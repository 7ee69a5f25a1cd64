// Photographs lie in their files as the sensor was held; the tag Orientation of TIFF 6.0 and Exif says how to set them
// upright.
#pragma once
#include "base/picture.h"

namespace pw {

// `orientation` is 1 to 8, 1 being upright; other numbers count as 1. `p` fills its canvas from (0,0), and so does the
// result.
Picture set_upright(const Picture& p, int orientation);

// True when width and height change places.
inline bool lies_on_its_side(int orientation) { return orientation >= 5 && orientation <= 8; }

}  // namespace pw
