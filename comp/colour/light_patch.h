// Ratios of light between a frame and the pinned still, patch by patch, gathered on a grid of places.
#pragma once
#include <vector>

#include "base/picture.h"
#include "base/transform.h"

namespace pw {

// A grid of places in the motion's reference frame: node (i, j) lies at (x0 + i * cell, y0 + j * cell).
struct PlaceGrid {
  double x0 = 0, y0 = 0, cell = 16;
  int columns = 1, rows = 1;
  int count() const { return columns * rows; }
};

// What one frame shows at the nodes, channel by channel.
struct SeenLight {
  std::vector<float> stops;   // [3 * node + channel]: log2 of plate / still.
  std::vector<float> weight;  // 1 / variance of that; 0: not seen.
  double share = 0;           // Of the frame's patches, those that were used.
};

// `ref_from_frame` lays the plate's pixels on the grid. Pixels are left out where the matte is above 0, where the still
// is not opaque or is black, and where the plate is clipped at 1.
SeenLight see_light(const Picture& plate, const Picture& still, const Picture& ignore, const Matrix3& ref_from_frame,
                    const PlaceGrid& grid);

}  // namespace pw
