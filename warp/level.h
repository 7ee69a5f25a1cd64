// A source picture as the filters read it: with what lies beyond its ends, and halved again and again for places where
// the map shrinks much.
#pragma once
#include "warp/resample.h"

namespace pw {

struct Level {
  Picture picture;
  Rect ends;  // Where the source ends; the picture may be a part of it.
  Edge edge = Edge::clear;

  // The column and the row of the source that lie at x and y by the edge's rule, each by itself; beyond the ends where
  // it is clear.
  int column(int x) const;
  int row(int y) const;
  // Channels of a pixel anywhere; null where it is clear.
  const float* find(int x, int y) const;
};

// Half the size: cell i is made of pixels 2i - 1 ... 2i + 2 with weights 1 3 3 1 along each axis (a cubic binomial,
// never negative). Point (x, y) becomes (x / 2, y / 2).
Level halved(const Level& l);

}  // namespace pw
