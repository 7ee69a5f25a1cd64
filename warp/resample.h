// Moves the pixels of a picture by a homography. Exact positions, no table of fractions; pixels are filtered by area
// where the map shrinks, so that fine detail turns into its mean instead of into false patterns.
//
// Interpolation where nothing shrinks: the filter's kernel along each axis. Where the map shrinks, the kernel is
// stretched: with J the derivative of source position by output position, A = J J^T tells how far a pixel reaches in
// the source (P. Heckbert, "Fundamentals of texture mapping and image warping", 1989; N. Greene, P. Heckbert, "Creating
// raster Omnimax images from multiple perspective views using the elliptical weighted average filter", IEEE Computer
// Graphics and Applications 6(6), 1986). The kernel is evaluated at M d, d the way from the position to a source pixel,
// M = A'^(-1/2), A' = A with singular values of J below 1 raised to 1: that is the plain kernel where nothing shrinks,
// so the two meet without a seam, and weights are divided by their sum.
#pragma once
#include <optional>

#include "base/picture.h"
#include "base/transform.h"
#include "warp/filter.h"

namespace pw {

// What lies beyond the source: nothing, its outermost pixels repeated, or its reflection in its border.
enum class Edge { clear, hold, mirror };

struct ResampleOptions {
  Filter filter = Filter::sharp;
  Edge edge = Edge::clear;
  // Keeps values between their two neighbours along each axis, except at smooth peaks and valleys: no dark rim around a
  // lamp, no loss in texture. See limit.h. No effect on linear and smooth, which never overshoot.
  bool limit_ringing = true;
  // Where the source ends, when `source` is only the part of it that is needed; else its window.
  std::optional<Rect> source_window;
};

// `source` (premultiplied, 1 to 4 channels) as seen after out_from_source, over `out`. Pixels whose point lies behind
// (third coordinate of out_from_source * point not positive) are clear. A whole-pixel shift, standing still among them,
// returns the source's bits (filter smooth blurs also then). A part of `out` holds the same bits as the whole would.
// A matrix that is singular or not finite gives a clear picture.
Picture resample(const Picture& source, const Matrix3& out_from_source, const Rect& out,
                 const ResampleOptions& options = {});

// The pixels of a source over `source_window` that can matter to resample(..., out, options): a sound bound.
Rect source_reach(const Matrix3& out_from_source, const Rect& out, const Rect& source_window,
                  const ResampleOptions& options = {});

}  // namespace pw
