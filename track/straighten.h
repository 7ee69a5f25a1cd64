// The motion behind places that rows, taken one after the other, saw.
#pragma once
#include <vector>

#include "base/motion.h"

namespace pw {

// Where points of the region are seen in the reference frame and in another one.
struct Sight {
  int frame = 0;
  std::vector<Point> in_reference, in_frame;
};

// Of a grid of points over the region, by poses that were tracked in pictures straightened by `bend` (base/motion.h:
// its lens, readout and the poses known then, none at first). Frames that are lost have no sight.
std::vector<Sight> sights_of(const Motion& bend, const std::vector<Pose>& tracked);

// Gives `motion` the poses that see all of this, by its own lens and readout: rows are brought to the time of the
// middle one by the poses it has, homographies are fitted to that, and again until nothing moves. (A step's error is
// the one before times about the share of a frame in which the region's rows are read, times the plane's change of
// speed in it.)
void straighten(const std::vector<Sight>& sights, Motion& motion);

}  // namespace pw
