// A plane held to limited motions.
#pragma once
#include <span>
#include <string>

#include "track/limits.h"
#include "track/normal.h"

namespace pw {

// The small motions (see normal.h) that keep a frame_from_ref within the limits. `centre` as there.
MotionBasis motion_basis(const MotionLimits& limits, const Matrix3& frame_from_ref, const Point& centre);

// The frame_from_ref within the limits that takes the region nearest to where `h` takes it: least squares over its
// corners (similarity: S. Umeyama, "Least-squares estimation of transformation parameters between two point patterns",
// IEEE Transactions on Pattern Analysis and Machine Intelligence 13, 1991). `h` itself for a free homography.
Matrix3 within(const MotionLimits& limits, const Matrix3& h, std::span<const Point> region, const Point& centre);

// What a covariance of the eight numbers (px^2 at `radius`) leaves open when a corner is not known to `limit_px`: the
// named motions that are known to less than half of that, or the worst; and the freest limits under which every corner
// would be known to it, else those that come nearest within twice of it, empty when none do.
struct Unfixed {
  std::string motions;   // "shifts along x, rotation"
  std::string remedy;    // "model = \"similarity\"" and the like.
  double remedy_px = 0;  // To which the worst corner would be known.
};
Unfixed unfixed(const Eigen::Matrix<double, kMotion, kMotion>& covariance, const MotionLimits& limits,
                const Matrix3& frame_from_ref, std::span<const Point> region, const Point& centre, double radius,
                double limit_px);

}  // namespace pw
