// Makes two pictures of one plane comparable. A pixel is the mean of the light over its square while the shutter is
// open; seen from the other picture that square is a parallelogram of another size and slant, and its way is another
// one. Comparing the pixels as they are compares different means: the difference follows the texture and pulls the
// answer away. So each picture gets the other's pixel footprint and the other's shutter path, mapped by the current
// homography: both sides are then means over the same shape, and differ by light and noise alone. Needs linear light.
#pragma once
#include "base/parallel.h"
#include "base/transform.h"
#include "track/raster.h"
#include "track/shutter.h"
#include "track/spline.h"

namespace pw {

// A picture at one pyramid level, as spline coefficients.
struct SplinePicture {
  Raster spline;
  Reach real;  // Where the picture itself reaches: beyond it the spline goes on, but tells nothing.
  // The coefficients are the pixels themselves, so that the spline is the picture convolved with (1 4 1) / 6 in both
  // directions. That costs little of what the picture tells and most of its aliasing and interpolation error.
  bool soft = false;
};

// Both work in the coordinates of one pyramid level and fill `out` over its window, by bands in parallel. The fourth
// float is 1 where all that was averaged lies inside the picture, else 0 with the other three 0.

// out(x) = mean of frame(H(Q(x + u))) over the unit square u and over the reference's path Q: the frame seen from the
// reference, with the reference's pixel footprint and smear.
void see_frame(const SplinePicture& frame, const Matrix3& frame_from_ref, const Path& reference_path, Raster& out,
               const Runner& runner);

// out(x) = mean of reference(P(x) + A^-1 u) over the unit square u, A the jacobian of H at x, and over the frame's path
// P: the reference with the frame's pixel footprint (softened as a soft frame's spline is) and smear.
void see_reference(const SplinePicture& reference, const Matrix3& frame_from_ref, const Path& frame_path,
                   bool soft_frame, Raster& out, const Runner& runner);

// What see_frame would give for a homography that differs from the one `seen` was made with by at most a tenth of a
// pixel: the picture's slope times the way, `ref_from_ref` telling where to look in `seen`. Off by an eighth of the way
// where texture is finest, so it does for steps on the way but not for the last. `seen` reaches kNudge further than
// `out`.
inline constexpr int kNudge = 2;
void nudge(const Raster& seen, const Matrix3& ref_from_ref, Raster& out, const Runner& runner);

}  // namespace pw
