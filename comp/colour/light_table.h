// A table of places and frames with gaps, filled: what changes together is told apart from what does not.
#pragma once
#include <vector>

#include "base/parallel.h"

namespace pw {

// One row per frame, one column per channel and node of the grid, column `channel * nodes + node`; weight 0 where
// nothing is known, else 1 / variance.
struct LightTable {
  int columns = 0, rows = 0, channels = 1;  // Of the grid.
  std::vector<std::vector<double>> value;   // [frame][column]
  std::vector<std::vector<double>> weight;  // The same; a frame may have none.
};

struct FilledTable {
  std::vector<std::vector<double>> value;  // [frame][column]
  int patterns = 0;                        // How many were found, the constant one counted.
};

// See light_measure.h for the method. At most `most_patterns`, and fewer than the frames that show anything. A frame
// that shows nothing gets strengths between those of its neighbours.
FilledTable fill(const LightTable& table, int most_patterns, const Runner& runner);

}  // namespace pw
