// Whether a homography is enough for what the tiles of an aligned region show. A lens that nobody told, and a thing
// that is not flat, leave displacements that grow smoothly across the region, to first order as quadratics do; noise
// and what passes in front leave none that neighbours share. So quadratics beyond what a homography can do are fitted
// to the tiles' displacements, and what they explain is set against what is left (the F test of added terms; N. R.
// Draper, H. Smith, "Applied regression analysis", Wiley 1998, from memory). Derived; no source for its use here.
#pragma once
#include <span>
#include <vector>

#include "track/normal.h"

namespace pw {

struct Bending {
  double px = 0;  // RMS over the region, where it is seen, of what the quadratics move beyond any homography.
  // Mean square that each of their numbers explains, in that of what is left: about 1 when nothing bends. 0: too few
  // tiles to tell.
  double certainty = 0;
};

// What the tiles of an aligned region still ask for (Step::shift of its last step).
Bending bending(std::span<const TileShift> shifts, std::span<const Rect> tiles, const Point& centre, double radius);

}  // namespace pw
