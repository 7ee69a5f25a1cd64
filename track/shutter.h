// What a plane does while a shutter is open.
#pragma once
#include "base/motion.h"

namespace pw {

// Where points of the reference move, in the reference's own coordinates, while a shutter is open: a point x is at
// open x when it opens, at x in the middle and at close x when it closes, and follows a parabola in between.
struct Path {
  Matrix3 open = Matrix3::Identity(), close = Matrix3::Identity();
  // Longest way between open and close of the corners of a rectangle, pixels.
  double length(const Rect& r) const;
};

// The points of the reference that a place of frame f sees one after the other: H(f + t)^-1 H(f) for t from -s to s, s
// = shutter_deg / 720, where H is `motion` with corners interpolated by Lagrange's polynomial through the five frames
// nearest to f, at most 4 away (also slightly beyond the ends). Standing still when fewer than two frames are known.
Path frame_path(const Motion& motion, int frame, double shutter_deg);

// The path of the frame before which, `direction` frames away (1 or -1), the plane was at `before`, at a steady speed.
Path steady_path(const Matrix3& frame_from_ref, const Matrix3& before, int direction, double shutter_deg,
                 const Quad& corners);

// In coordinates divided by `scale`.
Path scaled(const Path& p, double scale);

}  // namespace pw
