// Blur of a lens that is not in focus: each point becomes an even picture of the lens's opening.
#pragma once
#include <vector>

#include "base/picture.h"

namespace pw {

struct Aperture {
  double radius_px = 0;  // Of the circle, or of the one its corners lie on. 0 to 256.
  int blades = 0;        // Below 3: a disc; else that many corners, the first on top.
  double turn_deg = 0;   // Of the corners, clockwise.
};

// The opening's share of each pixel from -reach to reach, row by row: the integral over the opening of linear
// interpolation between pixels, so that the blur grows evenly from a radius of 0. Sum 1.
struct ApertureWeights {
  int reach = 0;
  std::vector<double> weight;
  double at(int x, int y) const { return weight[size_t(y + reach) * (2 * reach + 1) + (x + reach)]; }
};
ApertureWeights aperture_weights(const Aperture& a);

// `source` (linear light, premultiplied; clear outside its window) over `rect`. Light is neither lost nor made: the
// weights' sum is 1 but for rounding, 1e-6. A radius of 0 returns the bits. The same bits for a pixel whatever
// rectangle it is part of.
Picture defocused(const Picture& source, const Aperture& a, const Rect& rect);
int defocus_reach(const Aperture& a);  // How far beyond its rectangle it looks.

}  // namespace pw
