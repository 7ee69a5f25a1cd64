// Matching two drawings of a contour that have different numbers of knots.
#pragma once
#include "base/contour_link.h"

namespace pw {

// By arc length from the best start, then by dynamic time warping on position and direction; knots that come to lie
// within a few samples of each other (six of 256) are taken for the same corner. Turns `next` round when it runs the
// other way.
Link link_by_length(const Contour& from, Contour& next);

}  // namespace pw
