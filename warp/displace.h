// Moves the pixels of a picture by a field.
#pragma once
#include "warp/resample.h"

namespace pw {

// `offsets`: 2 channels; the output pixel with centre p shows the source at p + offset (offsets rather than positions,
// because a float keeps 1e-5 of a pixel in an offset where it keeps 1e-3 in a position). Filters, edges and filtering
// where the map shrinks are those of resample(); derivatives are central differences of the field, one-sided at the
// border of its window: give it over out.grown(1) where parts of a picture shall equal the whole. Where the field has
// no pixels, or they are not finite, the result is clear. Throws std::invalid_argument when `offsets` has other than 2
// channels.
Picture displace(const Picture& source, const Picture& offsets, const Rect& out, const ResampleOptions& options = {});

}  // namespace pw
