// Regions drawn into a picture, each with its number, for a person to look at.
#pragma once
#include <vector>

#include "base/picture.h"
#include "base/transform.h"

namespace pw {

struct NumberedRegion {
  int number = 1;              // 0 to 99.
  std::vector<Point> corners;  // Pixels of the picture.
  bool bold = false;           // The one the picture is about.
};

// The picture (1 to 4 channels, linear light) with bright lines, dark on both sides, so that they are seen on anything,
// and numbers in the regions' middles; 3 channels, the picture's window.
Picture outlined(const Picture& picture, const std::vector<NumberedRegion>& regions);

}  // namespace pw
