// Makes two pictures of one plane comparable. A pixel is the mean of the light over its square; seen from the other
// picture that square is a parallelogram of another size and slant. Comparing the pixels as they are compares different
// means: the difference follows the texture and pulls the answer away. So each picture gets the other's pixel
// footprint, mapped by the current homography: both sides are then means over (own square) convolved with (mapped
// square of the other), and differ by light and noise alone.
#pragma once
#include "base/parallel.h"
#include "base/transform.h"
#include "track/raster.h"

namespace pw {

// Both work in the coordinates of one pyramid level and fill `out` over its window, by bands in parallel.

// out(x) = mean of frame(H(x + u)) over the unit square u: the frame seen from the reference, with the reference's
// pixel footprint. The fourth float is 1 where all of that lies inside the frame, else 0 with the other three 0.
void see_frame(const Raster& frame_spline, const Matrix3& frame_from_ref, Raster& out, const Runner& runner);

// out(x) = mean of reference(x + A^-1 u) over the unit square u, A the jacobian of H at x: the reference with the
// frame's pixel footprint. The fourth float as above.
void see_reference(const Raster& ref_spline, const Matrix3& frame_from_ref, Raster& out, const Runner& runner);

}  // namespace pw
