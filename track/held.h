// A region held still: frames brought back to the reference by a track, small enough to be looked at side by side, and
// what differs between two of them.
#pragma once
#include <optional>
#include <vector>

#include "base/picture.h"
#include "track/shutter.h"

namespace pw {

// A frame held still over HeldRegion::window(), scene-linear.
struct HeldFrame {
  Picture picture;         // Where the frame does not reach, its border is repeated.
  std::vector<bool> seen;  // Row by row: the frame reaches there.
  Path path;               // What a place sees while the shutter is open, in the small picture's coordinates.
};

class HeldRegion {
 public:
  // The region and a twentieth of its length around it, at full size or smaller: `longest` pixels at most each way.
  HeldRegion(const Motion& motion, double shutter_deg, int longest);

  const Rect& window() const { return window_; }

  // The picture of frame `f`. Nothing when the motion is lost there or has no such frame; the reference needs none.
  std::optional<HeldFrame> hold(const Picture& picture, int f) const;

  // What to show of it: clear where the frame does not reach.
  Picture shown(const HeldFrame& held) const;

  // One channel, 0 to 1 when shown: 0.5 where both look alike, and the mean difference of the channels' square roots,
  // `gain` times enlarged, beside it; 0.25 around the region, 0 where one of the two does not reach. Each is smeared
  // along the other's path first, in linear light, and brought to the same mean light per channel, so that neither
  // smear nor exposure count as a difference: what is out of its place does.
  Picture unlike(const HeldFrame& held, const HeldFrame& reference, double gain) const;

 private:
  const Motion& motion_;
  double shutter_deg_;
  Matrix3 small_from_ref_;
  Rect window_;
  std::vector<float> inside_;  // Share of each pixel in the region.
};

}  // namespace pw
