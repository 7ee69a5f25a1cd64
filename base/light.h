// How the light of a shot changes: for each frame, by how much it is brighter than a still, place by place.
#pragma once
#include <span>
#include <vector>

namespace pw {

// Stops (log2 of a factor) for red, green and blue at the nodes of a grid over the plate, row by row. Node (i, j) lies
// at (i * cell_px, j * cell_px) of the full-size plate.
struct LightFrame {
  int frame = 0;
  std::vector<float> stops;  // 3 * columns * rows.
  double seen_share = 0;     // Of the grid's cells, those with pixels to measure on, 0..1.
};

struct Light {
  int width = 0, height = 0;  // Of the plate, pixels.
  double cell_px = 0;
  int columns = 0, rows = 0;       // At least one node beyond the plate's last pixel.
  std::vector<LightFrame> frames;  // Ascending.

  // A grid over a plate, without frames. `cell_px` >= 1.
  static Light grid(int width, int height, double cell_px);
  // That frame's, or null.
  const LightFrame* find(int frame) const;
  // Stops of the three channels at a place of the plate: cubic between nodes (R. G. Keys, IEEE Transactions on
  // Acoustics, Speech, and Signal Processing 29(6), 1981), so that no grid shows; held beyond the outermost nodes.
  void at(const LightFrame& f, double x, double y, std::span<float, 3> stops) const;
};

}  // namespace pw
