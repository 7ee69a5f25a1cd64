// A table of places and frames with gaps, filled: what changes together is told apart from what does not.
#pragma once
#include <functional>
#include <span>

#include "base/parallel.h"
#include "comp/colour/light_rows.h"

namespace pw {

// Column `channel * nodes + node` is a node of the grid, row by row.
struct LightGrid {
  int columns = 0, rows = 0, channels = 1;
};

// Gives every frame, in order, its row without gaps. See light_measure.h for the method. At most `most_patterns`, and
// fewer than the frames that show anything. A frame that shows nothing gets strengths between those of its neighbours.
// What passes in front is found by itself and loses the table's trust. Returns how many patterns were found, the
// constant one counted; 0 when nothing is known, and then every row is 0.
int fill(const LightGrid& grid, LightRows& table, int most_patterns, const Runner& runner,
         const std::function<void(size_t frame, std::span<const double> row)>& filled);

}  // namespace pw
