// How much light rain adds to a plate on average.
#pragma once
#include <span>

#include "base/noise.h"
#include "comp/repair/noise_patch.h"

namespace pw {

// A triplet of patches with the light around its middle, as drops see it.
struct RainPatch {
  Triplet seen;
  std::array<float, 3> around{};
};

// Noise::rain. Streaks that fall anywhere, each by itself, put m1 = r a of light into a pixel on average, with the
// variance m2 = r a^2 and the third central moment m3 = r a^3 (N. Campbell, "The study of discontinuous phenomena",
// Proc. Cambridge Phil. Soc. 15, 1909, from memory; a: a streak's light, r: how many meet in a pixel). So m1 would be
// m2^2 / m3 were all alike. Drops of many sizes at many distances have 1.4 to 2.2 times that, measured in patches of
// two renderings (2 to 25 mm/h, two focal lengths, sharp and out of focus); 1.6, rather low, takes off a still rather
// too little than too much. The grain's part of the variance is `noise`; it is as good as symmetric. Nothing in dry
// weather, or where there are too few patches.
std::array<double, 3> rain_share(std::span<const RainPatch> patches, const Noise& noise);

}  // namespace pw
