// Moves, scales, turns and flips a whole picture.
#pragma once
#include <functional>
#include <span>
#include <vector>

#include "warp/resample.h"

namespace pw {

// In this order: flipped, scaled and turned about a point, then moved.
struct Framing {
  Point about{0, 0};  // Pixels.
  bool flip_x = false, flip_y = false;
  double scale = 1;     // Above 0.
  double turn_deg = 0;  // Clockwise as seen.
  Point move{0, 0};     // Pixels.
};

// out_from_in. Quarter turns are exact.
Matrix3 transform_of(const Framing& f);

// The transforms by which a frame's pixels are smeared while the shutter is open: `at` gives the framing at a time in
// frames from the frame's middle. One when nothing moves by 0.02 px; else the middles of equal parts of the time, two
// or more per pixel of the longest way that a corner of `canvas` goes, at most 257.
std::vector<Matrix3> moments(const std::function<Framing(double)>& at, double shutter_deg, const Rect& canvas);

// True when every pixel comes to lie on a pixel: whole-pixel moves, flips and quarter turns that meet the grid.
bool keeps_grid(const Matrix3& out_from_in);

// The mean of `source` (linear light, premultiplied) after each transform, over `out`. Where there is one transform
// that keeps the grid, each pixel holds the bits of the one it came from, unless the filter is smooth, which blurs.
Picture reframed(const Picture& source, std::span<const Matrix3> out_from_source, const Rect& out,
                 const ResampleOptions& options);

// The pixels of a source over `window` that can matter to it: a sound bound.
Rect reframe_reach(std::span<const Matrix3> out_from_source, const Rect& out, const Rect& window,
                   const ResampleOptions& options);

}  // namespace pw
