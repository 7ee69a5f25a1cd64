// The quadrilateral that holds most of what is worth having.
#pragma once
#include <optional>
#include <vector>

#include "base/transform.h"

namespace pw {

// Squares of a picture from its top-left corner on, row by row; what each adds to a region it is part of.
struct WorthGrid {
  int columns = 0, rows = 0;
  double side = 1;            // Pixels.
  std::vector<double> worth;  // Below 0: better without.
  double& at(int column, int row) { return worth[size_t(row) * columns + column]; }
};

// The convex one of most worth that is found from the best upright rectangle (exact: J. Bentley, "Programming pearls:
// algorithm design techniques", CACM 27, 1984, in two dimensions) by moving one corner after the other by whole squares
// while that adds worth; clockwise on screen. A square counts when its centre lies inside. Nothing when no square is
// worth having.
std::optional<Quad> rich_quad(const WorthGrid& grid);

}  // namespace pw
