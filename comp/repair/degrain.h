// Grain taken out of one picture whose grain is known.
#pragma once
#include "base/noise.h"
#include "base/picture.h"

namespace pw {

// Method: all patches of 8 x 8 pixels, their channels turned to one sum and two differences, go through a cosine
// transform; coefficients that grain alone may have made are set to 0, and the patches that are laid over each other
// are averaged (G. Yu, G. Sapiro, "DCT image denoising: a simple and effective image denoising algorithm", Image
// Processing On Line 1, 2011). A second pass weighs each coefficient by the share of signal that the first result shows
// in it (Wiener), as K. Dabov et al., "Image denoising by sparse 3-D transform-domain collaborative filtering", IEEE
// TIP 16(8), 2007, do. What grain alone makes of a coefficient comes from the grain's level at the patch's brightness,
// its spatial correlation and that of its channels.
//
// `left`: the grain's level in the picture as a share of `noise`; 0 gives the picture's bits. 3 or 4 channels,
// scene-linear; pixels that lie in no opaque patch come back as they are, and so does alpha. A pixel's value depends on
// nothing further than kDegrainReach from it.
inline constexpr int kDegrainReach = 14;
Picture degrained(const Picture& picture, const Noise& noise, double left, const Rect& rect);

}  // namespace pw
