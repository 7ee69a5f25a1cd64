// From outlines to mattes: how much of each pixel lies inside.
#pragma once
#include "base/outline.h"
#include "base/picture.h"

namespace pw {

// One channel, 0 to 1, over `rect`; the same bits for a pixel whatever rectangle it is part of.
//
// Without feather: the exact share of the pixel's area that is filled, of curves drawn as chords that are off by less
// than 0.005 px. With feather: by the true distance to the border of what is filled, 0 at feather_px outside of it, 1/2
// on it, 1 at feather_px inside, along 6u^5 - 15u^4 + 10u^3, whose slope is close to a Gaussian of deviation 0.378
// feather_px; the pixel's own width is added in quadrature (0.76 px), so that thin feathers do not alias.
Picture rasterise(const Shape& shape, const Rect& rect, double feather_px = 0);

// Pixels that can be other than 0, feather included.
Rect raster_bounds(const Shape& shape, double feather_px = 0);

struct RasterOptions {
  double feather_px = 0;   // In full-size pixels.
  double shutter_deg = 0;  // Above 0: the mean over the time the shutter is open, at least one sample per half pixel of
                           // the fastest knot's path, at most 256.
  double scale = 1;        // Of the picture against the full-size plate the outline is drawn on.
};

// An outline at a whole frame, which is the centre of the time its shutter is open.
Picture rasterise(const Outline& outline, int frame, const Rect& rect, const RasterOptions& options = {});
Rect raster_bounds(const Outline& outline, int frame, const RasterOptions& options = {});

}  // namespace pw
