// What is left to smear. A still already carries the smear of its own frame; pinned to another frame it gets only what
// that frame's shutter has more, found locally, along the frame's path.
#pragma once
#include <vector>

namespace pw {

// Weights of `count` (odd) samples spread evenly over a path of length `wanted` (midpoints of equal parts), never
// negative, with sum 1, such that a picture that is smeared over a length `present` along the path looks as if smeared
// over `wanted`: the box of length `present` under these weights comes as near to the box of length `wanted` as weights
// that are not negative can bring it. Even weights when nothing is present; one in the middle when nothing is wanting;
// nearly exact when `wanted` is a multiple of `present`; continuous between.
//
// Method: least squares under weights that are not negative, by the image space reconstruction algorithm (M. E.
// Daube-Witherspoon, G. Muehllehner, "An iterative image space reconstruction algorithm suitable for volume ECT", IEEE
// Transactions on Medical Imaging 5, 1986), started from the box that adds the wanted variance, so that it begins near
// the answer and ends at a single weight as `present` nears `wanted`.
std::vector<float> smear_weights(double wanted, double present, int count);

}  // namespace pw
