// Patches of two frames that lie on one another by whole pixels, and what their difference says of the grain.
#pragma once
#include <array>
#include <vector>

#include "base/parallel.h"
#include "base/picture.h"
#include "base/transform.h"

namespace pw {

struct Patch {
  static constexpr int kSide = 16, kReach = 4;                          // Pixels.
  static constexpr int kLags = (2 * kReach + 1) * kReach + kReach + 1;  // Lags (x, y) with y > 0, or y = 0 and x >= 0.
  static constexpr int lag(int x, int y) {                              // Its place in `spatial`; y >= 0.
    return y == 0 ? x : kReach + 1 + (y - 1) * (2 * kReach + 1) + x + kReach;
  }
  std::array<float, 3> brightness;  // Mean over both frames.
  std::array<float, 3> sigma;       // Of one frame's grain; 0: cannot be told here (clipped, or nothing differs).
  float texture = 0;  // The most texture may have put into it, as a share of its variance; of the channels the largest.
  float stray = 0;    // Share of its pixels that lie beyond 2.5 sigma; of the channels the largest. 0.012 when normal.
  float same = 0;     // Share of its pixels that did not change at all; of the channels that tell sigma the largest.
  // Plain variance of one frame's grain and all else that differs, for what strays up to 6 sigma.
  std::array<float, 3> variance;
  // Mean product of the difference with itself at a lag, in order of y, then x, over its variance.
  std::array<std::array<float, kLags>, 3> spatial;
  std::array<float, 3> between;  // The same between red and green, red and blue, green and blue.
};

// What a patch says whatever its texture: in each channel the grain is no more than this. Sigma 0: nothing.
struct GrainBound {
  std::array<float, 3> brightness{}, sigma{};
};

// A patch of three frames that lie on one another by whole pixels. In each the patch's own mean is taken off, channel
// by channel, so that lamps may flicker; then the three differ from one another by grain and rain alone.
struct Triplet {
  double x = 0, y = 0;                // The patch's middle in the middle frame, pixels.
  std::array<float, 3> brightness{};  // Mean over the frames.
  double second = 0, third = 0;       // Variance and third central moment of the sum of the channels in one frame.
  std::array<double, 3> with{};       // Covariance of a channel with that sum.
};

struct FramePair {
  Picture a, b;                // 3 or 4 channels.
  Picture ignore_a, ignore_b;  // Matte, may be empty.
  Matrix3 b_from_a;
};

struct FoundPatches {
  std::vector<Patch> patches;  // Those that tell the grain in a channel or more.
  std::vector<GrainBound> bounds;
};
// At most kMostPatches of each, spread over the picture, in its order.
inline constexpr size_t kMostPatches = 1500;
FoundPatches find_patches(const FramePair& pair, const Runner& runner);

// `before` and `after` have the same frame as their `a`; patches that texture or clipping might have changed are left
// out. At most kMostPatches.
std::vector<Triplet> find_triplets(const FramePair& before, const FramePair& after, const Runner& runner);

}  // namespace pw
