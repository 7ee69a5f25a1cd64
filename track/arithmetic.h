// Motions made from motions: what of one is left when another is held, its inverse, some of its parts, given to another
// place.
#pragma once
#include <optional>

#include "base/motion.h"
#include "base/problem.h"

namespace pw {

// The parts of a homography about a point: the move of the point; then what happens beside it, told by the derivative
// there. Its polar decomposition (R. A. Horn, C. R. Johnson, Matrix Analysis, 1985, section 7.3) gives the turn; the
// root of its determinant is the scale; the rest is stretch, shear and perspective.
struct Parts {
  bool move = true, turn = true, scale = true, rest = true;
  bool all() const { return move && turn && scale && rest; }
};

// `h` with only those parts, about `about` (pixels); the others are those of standing still. Nothing when h sends the
// point to or beyond infinity, or mirrors there.
std::optional<Matrix3> kept(const Matrix3& h, const Point& about, const Parts& parts);

struct Arithmetic {
  Parts keep;
  bool inverse = false;
  std::optional<Point> about;  // In the reference frame, pixels; none: the middle of the region.
  std::optional<Point> place;  // Where `about` lies in the result, in the reference frame; none: where it is.
};

// For each frame of `motion`, in this order: what is left of it when the frame is moved so that `against` stands as in
// the reference frame; of that the parts kept; its inverse; at the other place; and then moved as `onto` moves from
// the reference frame. against and onto may be null. The reference is that of `motion`, the region is moved to the
// place. A frame's status is the worst of those it comes from, with that one's reason; it is lost where one of them is,
// or does not have the frame. Its residual is the largest. The covariance of the corners is carried over to first
// order, the motions taken as independent; it is not known where that of one is not.
// Problems: plates of other sizes; a reference that against or onto does not know.
Result<Motion> derived(const Motion& motion, const Motion* against, const Motion* onto, const Arithmetic& a);

// The frame's motion calmed: each corner of the region on the straight line that fits its path best around the frame,
// weights falling from the frame to window_frames / 2 on either side (W. S. Cleveland, "Robust locally weighted
// regression", Journal of the American Statistical Association 74, 1979, without its robust part), so that steady
// motion stays what it is up to the ends. Lost frames are left out. `window_frames` above 0; at 2 or less it is the
// frame's own. Nothing where the motion does not know the frame.
std::optional<Matrix3> calmed(const Motion& motion, int frame, double window_frames);

}  // namespace pw
