// How far a track is from the truth.
//
// Corner error of a frame: the root of the mean squared distance, over the region's corners c, between H_est c and
// H_true c; with a lens or rows one after the other, between where both say c is seen, or where the truth's `corners`
// are. Homography discrepancy: the mean distance, over the four corners f of the picture, between H_est H_true^-1
// f and f (P. Liang et al., "Planar object tracking in the wild: a benchmark", ICRA 2018, take the four corners of a
// square; here it is the picture).
#pragma once
#include <array>
#include <vector>

#include "base/motion.h"

namespace pw {

struct FrameScore {
  int frame = 0;
  TrackStatus status = TrackStatus::lost;
  bool known = false;   // The track has a pose there that is not `lost`.
  double rms_px = 0;    // Over the corners.
  double worst_px = 0;  // Of the corners.
  double discrepancy_px = 0;
  bool lost = false;  // Not known, worse than 5 px, or worse than 3 px (rms) while the status says good.
};

struct TrackScore {
  std::vector<FrameScore> frames;  // Those of the truth, without the reference, which is given.
  double rms_px = 0;               // Root of the mean square of rms_px over known frames.
  double worst_px = 0;             // Largest rms_px.
  double discrepancy_px = 0;       // Mean over known frames.
  int lost = 0;
  static constexpr std::array<double, 3> kPrecision{0.25, 1, 5};
  std::array<double, 3> precision{};  // Share of all frames with rms_px at or below each, 0..1.
};

// Only frames that the truth has are scored; the corners are those of the truth's region. Both must share the reference
// frame's coordinates; a track measured from another reference is carried over through the pose it has there.
TrackScore score(const Motion& track, const Motion& truth);

}  // namespace pw
