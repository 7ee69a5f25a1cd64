// New grain, made to match a measured one: a pure function of (seed, frame, position).
#pragma once
#include <array>
#include <vector>

#include "base/noise.h"
#include "base/picture.h"

namespace pw {

// What it takes to draw grain of a measured kind: white normal numbers, mixed between channels and then spread over
// neighbours by one kernel per channel.
struct GrainRecipe {
  Noise noise;
  int reach = 0;                                 // Of the kernels, pixels.
  std::array<std::vector<float>, 3> kernel;      // (2 reach + 1)^2, row by row; squares sum to 1.
  std::array<std::array<float, 3>, 3> mix = {};  // Lower triangle; channel i is the sum of mix[i][j] * number j.
};

// The kernel is the inverse Fourier transform of the square root of the power spectrum, so the correlation of what it
// makes is the measured one (spectral method for stationary normal fields; common practice, no source). A correlation
// that no field can have is brought to the nearest by dropping negative power. Channels are mixed by the Cholesky
// factor of their correlation, allowing for how alike their kernels are.
GrainRecipe grain_recipe(const Noise& noise);

// The picture with grain over `rect`: each channel gets sigma(its brightness) * amount times normal numbers; alpha
// stays, and colour under partial coverage gets its share. 3 or 4 channels, scene-linear, premultiplied; 1 channel is
// grey and gets green's. `amount` >= 0; 0 gives the picture's bits. `picture` covers what is to be grained; outside its
// window the result is clear. `scale`: a proxy at this share of the full size; the grain is then what is left of it
// when pixels are averaged.
Picture add_grain(const Picture& picture, const GrainRecipe& recipe, uint64_t seed, int frame, double amount,
                  double scale, const Rect& rect);

}  // namespace pw
