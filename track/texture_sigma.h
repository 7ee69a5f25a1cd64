// How well a region could be followed by what a single picture shows of it.
#pragma once
#include <functional>
#include <span>

#include "base/picture.h"
#include "base/transform.h"

namespace pw {

// Standard deviation of the region's worst corner along its worst direction, px, when a picture with the same texture
// and noise is aligned to this one: the Cramer-Rao bound of track/bound.h with what a user has, the picture's own
// gradients (whose noise is taken off) and noise, one offset of light for each 32 x 32 pixels. Not a number when the
// texture does not fix a homography. `usable` says which pixels show the plane.
double texture_sigma(const Picture& picture, std::span<const Point> region, double noise,
                     const std::function<bool(const Point&)>& usable);

}  // namespace pw
