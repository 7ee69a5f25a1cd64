// Where to look when a motion is to be judged.
#pragma once
#include <optional>
#include <vector>

#include "base/motion.h"

namespace pw {

// Where a corner of the region is seen on the pose's frame. Nothing where it is not known.
std::optional<Point> corner_seen(const Motion& m, const Pose& pose, size_t corner);

// The standard deviation of each mapped corner along its worst direction, px: the root of the larger eigenvalue of its
// 2 x 2 covariance. Empty when the pose is lost or its covariance is not known.
std::vector<double> corner_sigmas(const Pose& pose);

// The largest of them; not a number when there is none.
double worst_sigma(const Pose& pose);

// Whether it has a residual: it was found in the frame's own picture. The reference was not, nor is what is carried
// over from other frames or read from a file that has none.
bool has_residual(const Pose& pose);

// Poses of frames after one another with the same status: indices into Motion::poses, both inclusive.
struct StatusRun {
  size_t first, last;
};
std::vector<StatusRun> status_runs(const Motion& m);

// Frames that tell most about the motions, ascending, `most` at most (at least 1): the references, the least sure and
// the largest residual of each, where a status begins; these take two thirds of the room, the rest are evenly spread.
// All frames when there are no more than that.
std::vector<int> telling_frames(const std::vector<const Motion*>& motions, size_t most);

}  // namespace pw
