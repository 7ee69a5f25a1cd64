// A matte's edge moved and softened, in parts of a pixel.
#pragma once
#include "base/picture.h"

namespace pw {

struct EdgeMove {
  double outward_px = 0;  // Above 0 the matte grows by this much everywhere, below 0 it shrinks. |outward_px| <= 128.
  double feather_px = 0;  // From 0 this far outside the moved edge to 1 this far inside. 0 to 128.
};

// `matte` (1 channel, 0 to 1; clear outside its window) over `rect`.
//
// A sharp edge, one that goes from 0 to 1 within a pixel or two, is found in each pixel it passes as the straight line
// that its coverage means (comp/matte/cell_line.h); the moved edge lies at its distance from the nearest of them, and
// coverage is worked out anew. Exact for straight edges at any angle; within 0.05 px for a circle of radius
// 9; a corner, which coverage does not tell, is rounded by about half a pixel. A softer edge keeps its softness: each
// of its levels moves by the distance, which is the largest (or smallest) value of the matte within a disc, read
// between pixels linearly (J. Serra, "Image Analysis and Mathematical Morphology", 1982), and feather then blurs it.
// Between the two kinds of edge the result is mixed. Nothing to do returns the matte's bits. The same bits for a pixel
// whatever rectangle it is part of.
Picture edge_moved(const Picture& matte, const EdgeMove& move, const Rect& rect);
// How far beyond its rectangle edge_moved() looks, pixels.
int edge_reach(const EdgeMove& move);

// The largest value within a disc of `radius_px`, read between pixels linearly on the disc's rim.
Picture disc_largest(const Picture& matte, double radius_px, const Rect& rect);

}  // namespace pw
