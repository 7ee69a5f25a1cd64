// How noisy a picture is.
#pragma once
#include <span>

#include "base/picture.h"

namespace pw {

// Standard deviation of one pixel's noise in sRGB code values (0..1), mean over channels: the Laplacian difference mask
// of J. Immerkaer, "Fast noise variance estimation", Computer Vision and Image Understanding 64, 1996, which is blind
// to planes and quadratic surfaces, read where it is quietest (the lower fifth of 16 x 16 blocks), since texture only
// adds.
double noise_sigma(const Picture& p);

// Share of the squared gradients inside `box` that is noise of that standard deviation, white over the pixels; where
// `mask`, over the box, is 0 nothing is looked at. 1 where there is no texture at all.
double noise_in_gradients(const Picture& p, const Rect& box, std::span<const float> mask, double sigma);

}  // namespace pw
