// How long a camera takes from its first row to its last, from the motion of a plane it filmed: while the plane moves,
// rows taken later see it elsewhere, which leans it over (rows run down: dx by row) and stretches it (dy by row), in
// proportion to its speed. Homographies tracked in such pictures hold that. What a camera that turns, comes nearer or
// is rolled does is a similarity to first order; what perspective adds changes slowly and does not follow the speed
// from frame to frame. So the two departures from a similarity, at the region's middle, are set against the speed
// there, both without what changes slowly (second differences over time), and the slope of the line through the origin
// is the readout. Derived; no source.
#pragma once
#include "base/motion.h"
#include "base/problem.h"

namespace pw {

struct Readout {
  double more = 0;  // To be added to the motion's own readout.
  double sd = 0;    // Standard deviation, from the scatter about the line.
  int frames = 0;   // That spoke.
};

// The motion's poses are taken as tracked in pictures straightened by its own readout. Problems ("not seen well
// enough"): fewer than 8 frames in a row that are good or weak, a plane that stands still or moves at a steady speed, a
// standard deviation above 0.1.
Result<Readout> readout_left(const Motion& motion);

}  // namespace pw
