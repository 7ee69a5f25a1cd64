// Which point of one drawing of a contour is which point of the next, so that the contour can move between them.
#pragma once
#include <span>
#include <vector>

#include "base/contour.h"

namespace pw {

// The same contour drawn several times, in order of time: each comes back as the same curve with as many knots as the
// others, knot i of one being knot i of all.
//
// Drawings with equally many knots: the knots correspond in the order drawn, unless another first knot or the other
// direction fits far better (a quarter of the squared distance that is left when each is laid over the other by
// translation, rotation and scale). Drawings with different numbers of knots: the curves are laid over each other by
// arc length from the best start, then by dynamic time warping (H. Sakoe, S. Chiba, "Dynamic programming algorithm
// optimization for spoken word recognition", IEEE Trans. ASSP 26(1), 1978) on position and direction, and each is
// cut where the other has a knot.
std::vector<Contour> conformed(std::span<const Contour> drawings);

}  // namespace pw
