// Cuts out what stands before a background, known or guessed, without the background's light in its edge.
#pragma once
#include "base/picture.h"

namespace pw {

struct LiftOptions {
  double near_px = 8;         // How far around an edge the thing's own colour is looked for.
  double steady = 0.05;       // Coverage below which that colour counts more than the pixel's own; 0: only the pixel's.
  double shadow_soft_px = 2;  // Blur of the shadow: as little as hides the grain.
  bool guessed = false;       // What stands behind is guessed: F is no darker than what the thing shows nearby.
};

// C = a F + (1 - a) B: of the picture C, the background B and the matte a, the thing's F. 4 channels, a F and a.
//
// F = (a (C - (1 - a) B) + l N) / (a^2 + l), l = steady^2 (1 - a): the least squares answer that is drawn to N, the
// thing's colour nearby, the more the less of the pixel the thing covers (A. N. Tikhonov's regularisation). N is the
// mean of (C - (1 - a) B) / a around, weighted with a^3 and a Gaussian of deviation near_px / 2. Where a is 1 the
// picture's bits stay; where it is 0 nothing is; F is never below 0. Where `clean` shows nothing, N alone counts. Light
// stays linear. A B guessed too bright takes more from the edge than is there: with `guessed` no channel of F is less
// than the least of the pixels around that the thing covers nearly wholly, as far as lift_reach.
Picture lifted(const Picture& image, const Picture& clean, const Picture& matte, const LiftOptions& o,
               const Rect& rect);

// The thing's shadow as what it leaves of the light: C / B, from 0 to 1, where `shadow` is and the thing is not, looked
// at over shadow_soft_px without the thing. 4 channels, to be laid on another background with the blend multiply.
Picture lifted_shadow(const Picture& image, const Picture& clean, const Picture& matte, const Picture& shadow,
                      const LiftOptions& o, const Rect& rect);

// What stands behind the matte's edge, where no picture shows it: the mean of the light around, weighted with (1 -
// a)^8, so that what the thing covers hardly counts, and two Gaussians: of deviation near_px / 2, and a hundred times
// that of near_px / 4, so that where two things meet behind the edge each pixel takes the nearer. Over `rect`, 4
// channels; clear deep inside. It looks lift_reach beyond.
Picture guessed_behind(const Picture& image, const Picture& matte, const LiftOptions& o, const Rect& rect);

// How far beyond their rectangle lifted and lifted_shadow look, pixels.
int lift_reach(const LiftOptions& o);
int lift_shadow_reach(const LiftOptions& o);

}  // namespace pw
