// A shape cut into straight edges, and the sweep over them, row by row, that knows exactly what is inside.
#pragma once
#include <functional>
#include <vector>

#include "base/contour.h"

namespace pw {

// A piece of a contour, running down: y0 < y1. Positions in plate pixels.
struct Edge {
  double x0, y0, x1, y1;
  int path;       // Index into SweepEdges::rules.
  int direction;  // +1 where the contour runs down, -1 where it runs up.
  double x(double y) const { return x0 + (y - y0) * ((x1 - x0) / (y1 - y0)); }
};

// A side of what is filled: straight from (x0, y0) to (x1, y1).
struct Side {
  double x0, y0, x1, y1;
};

struct SweepEdges {
  std::vector<Edge> edges;  // Ascending y0.
  std::vector<FillRule> rules;
};

// Cubics become chords that are off by less than 0.005 px (G. Wang 1984; more when a shape would need over four million
// of them). Heights are whole multiples of 2^-20 px, so that areas add up exactly.
SweepEdges edges_of(const Shape& s);

// Where a side of the filling crosses a slab.
struct Border {
  const Edge* edge;
  double top, bottom;  // x where it enters and leaves the slab.
};

// A slab of a row in which no edges end or cross: from y0 to y1, in units of 2^-20 px below the row's top. Every second
// border opens what is filled and every other closes it, left to right.
struct Slab {
  int y0, y1;
  std::vector<Border> borders;
};

// Calls `visit` for every slab of rows [first, last) that has any filling, top to bottom. Slabs never span the middle
// of a row. What is found in a row does not depend on which other rows are asked for. A row crossed by so many edges
// that it would fall into more than 256 slabs is cut into 256 equal ones, in which edges count as they stand in the
// middle.
void sweep(const SweepEdges& s, int first, int last, const std::function<void(int row, const Slab&)>& visit);

// The border of what is filled: no sides inside of it, whatever overlaps.
std::vector<Side> boundary(const SweepEdges& s);

}  // namespace pw
