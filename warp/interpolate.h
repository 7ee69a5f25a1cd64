// The kernel at exact positions, where the map does not shrink.
#pragma once
#include "warp/level.h"

namespace pw {

// A run of `count` positions: pixel (x, y) has its centre tx, ty (0 <= t < 1) to the left of and above the position.
using InterpolateRun = void (*)(const Level& source, int count, const int* x, const int* y, const float* tx,
                                const float* ty, float* out);

InterpolateRun interpolator(Filter filter, int channels, bool limit);

}  // namespace pw
