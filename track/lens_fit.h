// Radial distortion from places of one plane in several frames: least squares over a homography for each frame and the
// lens they share, by Levenberg and Marquardt's method, frames eliminated (Schur complement), Tukey's weights. A
// homography takes straight lines to straight lines, so what bends is the lens (the idea of the plumb line: D. C.
// Brown, "Close-range camera calibration", Photogrammetric Engineering 37(8), 1971). No pixel needs to be known: one
// lens and one plane are.
#pragma once
#include <span>
#include <vector>

#include "base/motion.h"
#include "base/problem.h"
#include "track/straighten.h"

namespace pw {

struct LensFit {
  Lens lens;                            // With standard deviations, from what is left.
  std::vector<Matrix3> frame_from_ref;  // Of each sight, for ideal pictures.
  double rms_px = 0;                    // Left over, distance, points weighted.
};

// `terms`: 1 (k1 alone) or 2. Places of the reference are taken as exact, those of the frames as equally good. Problems
// ("the lens is not seen well enough"): fewer than 8 points in all frames, no homography, a lens that the places do not
// fix (a plane seen always in the same place, a narrow region), k1 known to less than 0.02.
Result<LensFit> fit_lens(std::span<const Sight> sights, double width, double height, int terms);

// The predicted place of a point, and its derivatives by the homography's eight numbers (track/normal.h) and by k1, k2.
struct LensPrediction {
  Point seen{0, 0};
  Eigen::Matrix<double, 2, 8> by_motion;
  Eigen::Matrix2d by_lens;
};
std::optional<LensPrediction> predict_seen(const Lens& lens, const Matrix3& frame_from_ref, const Point& in_reference,
                                           double width, double height);

}  // namespace pw
