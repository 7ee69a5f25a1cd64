// The grain of a moving plate, measured.
#pragma once
#include <functional>
#include <optional>

#include "base/motion.h"
#include "base/noise.h"
#include "base/parallel.h"
#include "base/picture.h"

namespace pw {

// Frames of the plate, asked for one after the other.
class NoiseFrames {
 public:
  virtual ~NoiseFrames() = default;
  virtual int first() const = 0;
  virtual int last() const = 0;
  virtual Picture image(int frame) const = 0;   // Whole, 3 or 4 channels, scene-linear. Empty: there is none.
  virtual Picture ignore(int frame) const = 0;  // 1 where the picture does not move as the motion says; may be empty.
};

// Method: two frames are laid over one another by the motion (null: the camera stands still), patch by patch, by whole
// pixels, only where the motion is within a fraction of a pixel of a whole number: nothing is interpolated, so their
// difference holds the grain of both as it is, twice the variance, and no texture. Patches whose difference could come
// from the rest of a pixel over the texture's slope are left out. A patch gives a robust standard deviation (what lies
// beyond 2.5 of it does not count; patches with much of that are left out), which a streak of rain moves little.
// Patches of similar brightness are brought together by the mode of their logarithms (half-sample mode, D. R. Bickel
// and R. Fruehwirth, "On a fast, robust estimator of the mode", Computational Statistics & Data Analysis 50, 2006):
// what moves otherwise, or is covered by rain, adds variance, and does not reach the mode. Where nearly all that lacks
// texture moves otherwise it would be the mode: so no level stays above what patches with texture allow. Below and
// above what was seen the affine law of photon and read noise (Foi et al. 2008) is continued. Correlations come from
// the patches at the mode; those within three standard errors of zero are taken for zero.
//
// Where all patches hold rain, its streaks are told from the grain by how far they run (see noise_streaks.h) and their
// share is taken off. One level alone is then off by 15 %, in the dark by 30 %, so the affine law through all of them
// is what is given; and grain that hangs together over more than 2 pixels, only in one direction, or by less than 0.06
// or a fifth of what the streaks do, is not seen. Streaks three pixels wide, out of focus, take half of the grain's
// level with them. How much the rain lightens the plate is told from three frames at a time (see noise_rain.h).
//
// Cannot tell compression's blocks that repeat the frame before from a plate without grain; nor, where the motion is
// wrong everywhere, texture from grain. `progress` false: stop. Nothing when there are too few patches: see kFewest.
std::optional<Noise> measure_noise(const NoiseFrames& frames, const Motion* motion, const Runner& runner,
                                   const std::function<bool(int done, int total)>& progress);

}  // namespace pw
