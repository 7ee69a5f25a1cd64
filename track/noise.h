// How noisy a picture is.
#pragma once
#include "base/picture.h"

namespace pw {

// Standard deviation of one pixel's noise in sRGB code values (0..1), mean over channels: the Laplacian difference mask
// of J. Immerkaer, "Fast noise variance estimation", Computer Vision and Image Understanding 64, 1996, which is blind
// to planes and quadratic surfaces, read where it is quietest (the lower fifth of 16 x 16 blocks), since texture only
// adds.
double noise_sigma(const Picture& p);

}  // namespace pw
