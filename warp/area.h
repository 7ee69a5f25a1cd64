// Filtering where the map shrinks: one output pixel as a weighted mean of all the source pixels it covers.
#pragma once
#include "warp/level.h"

namespace pw {

// How far one output pixel reaches in the source: the symmetric matrix A'^(1/2) of resample.h and its inverse.
struct Footprint {
  float longest = 1, shortest = 1;           // Singular values after raising, longest >= shortest >= 1.
  float xx = 1, xy = 0, yy = 1;              // A'^(1/2)
  float inv_xx = 1, inv_xy = 0, inv_yy = 1;  // A'^(-1/2)
};

// Shrinking by less than this leaves the plain kernel: it changes nothing a picture from a lens shows, and a plane that
// breathes by a few per cent keeps the sharpness of the fast path.
inline constexpr float kShrinkStart = 1.1f;
// From here on the kernel is stretched by the whole factor; between the two evenly.
inline constexpr float kShrinkWhole = 1.3f;

// From the derivative of source position by output position; in the coordinates of a source halved `times` times, where
// sides shorter than a cell are a cell long.
Footprint footprint(float xx, float xy, float yx, float yy, int times = 0);

// The mean around position (x, y), into picture.channels() floats.
void sample_area(const Level& source, Filter filter, bool limit, double x, double y, const Footprint& f, float* out);

}  // namespace pw
