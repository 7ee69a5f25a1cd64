// A still from elsewhere (another lens, place, size or grade) brought to a plane of the plate: a start from features
// (track/start.h) or from pairs of points, then the direct alignment of track/align.h, then colour.
#pragma once
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/motion.h"
#include "base/parallel.h"
#include "base/picture.h"
#include "base/problem.h"

namespace pw {

// What is done about the still's colour: nothing; a gain for each channel; a 3 x 3 matrix, which also turns hues and
// takes saturation back.
enum class ColourMatch { none, gain, matrix };

struct RegisterOptions {
  std::vector<Point> region;  // Of the plane in the plate, 4 or more corners.
  // Pairs of points, the same place in both, 4 or more; none: features are looked for.
  std::vector<Point> still_points, plate_points;
  bool align = true;  // False: the pairs of points are the answer.
  ColourMatch colour = ColourMatch::gain;
  double weak_px = 0.5;  // A corner less certain than this makes it weak.
};

struct Registration {
  Matrix3 plate_from_still = Matrix3::Identity();
  TrackStatus status = TrackStatus::good;  // good or weak.
  std::string reason;                      // Why it is weak.
  double residual = 0;  // RMS left after alignment, code values; of pairs of points alone: RMS of theirs, plate pixels.
  int agreeing = 0, tried = 0;            // Features, or pairs of points.
  std::vector<double> corner_covariance;  // As in Pose, of the region's corners in plate pixels; empty: not known.
  Matrix3 colour = Matrix3::Identity();   // plate colour = colour * still colour, linear light.
};

// `plate` and `still` in linear light, 3 or 4 channels; `ignore` one channel over the plate or empty. The pixels of
// both count from their own (0, 0).
// Problems: a region of fewer than 4 corners or one that shows nothing; points that are not in pairs, fewer than 4, or
// do not fix a homography; a still that is not found; one that does not agree with the plate where it was found.
Result<Registration> register_still(const Picture& plate, const Picture& ignore, const Picture& still,
                                    const RegisterOptions& options, const Runner& runner);

// `picture` with M applied to its first three channels, linear light.
Picture coloured(const Picture& picture, const Matrix3& m);

// The gain or matrix M with plate = M * still over pairs of colours in linear light (rows of three), on about code
// values: least absolute differences by reweighting, then least squares with Tukey's biweight, which counts outliers
// nothing (P. J. Huber, Robust Statistics, 1981, chapters 4 and 7). Nothing when the pairs do not fix it: fewer than 8
// (gain) or 24 (matrix), or too little difference in hue for a matrix.
std::optional<Matrix3> match_colour(std::span<const Eigen::Vector3d> still, std::span<const Eigen::Vector3d> plate,
                                    ColourMatch how);

}  // namespace pw
