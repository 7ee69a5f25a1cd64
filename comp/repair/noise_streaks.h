// Rain in the difference of two frames, told from the grain.
#pragma once
#include <array>
#include <optional>
#include <span>

#include "comp/repair/noise_patch.h"

namespace pw {

// Streaks run on for many pixels, grain does not: the part of the difference's covariance that is still there 2 to 4
// rows away is theirs, and what they have at smaller lags follows from it. Down a streak covariance falls off along a
// straight line; across, a line of about a pixel's width that lies anywhere between pixels gives a quadratic B-spline
// twice over, which is the cubic one (1/6, 2/3, 1/6).
class Streaks {
 public:
  // Nothing when no covariance runs on, or as much to the side as down: that is coarse grain.
  static std::optional<Streaks> find(std::span<const Patch* const> patches);

  // Mean covariance between channels i and j at a lag, of one frame's streaks, in a group of patches.
  struct Group {
    std::array<double, 3> amplitude{};  // Their strength down the ridge.
    std::array<double, 3> variance{};   // Of one frame's grain and streaks together.
    std::array<double, 3> lost{};       // Of that, what taking off each patch's mean has hidden.
  };
  Group group(std::span<const Patch* const> patches) const;
  double covariance(const Group& g, int i, int j, int x, int y) const;

 private:
  double slope_ = 0;                             // Columns per row.
  std::array<double, Patch::kReach + 1> run_{};  // Row sums, relative to the mean of those 2 to 4 rows away.
  double base_ = 0;                              // What is everywhere, negative, relative to that mean.
  double ridge(const Patch& p, int c) const;
};

}  // namespace pw
