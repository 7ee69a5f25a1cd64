// A straight edge through one pixel: from the share of the pixel it leaves covered to where it lies, and back.
#pragma once

namespace pw {

// The half plane n . p < d, p from the pixel's middle; n points out of it and has length 1. Pixels.
struct CellLine {
  double nx = 1, ny = 0, d = 0;
};

// The share of a pixel that lies in the half plane: exact.
double covered(const CellLine& line);
// d such that covered() is `share`, 0 to 1; -+(|nx| + |ny|) / 2 at the ends.
double offset_for(double nx, double ny, double share);

// The edge in the middle of 3 x 3 shares of coverage, `share[row][column]`, whose middle is neither 0 nor 1: of six
// slopes from differences of column and row sums, the one whose line explains all nine best (J. E. Pilliod, E. G.
// Puckett, "Second-order accurate volume-of-fluid algorithms for tracking material interfaces", J. Computational
// Physics 199, 2004). Exact for a straight edge.
CellLine edge_through(const float share[3][3]);

}  // namespace pw
