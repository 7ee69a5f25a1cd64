// A track that a person has corrected: on some frames the region's corners are given, and hold exactly. From each of
// them, as from the reference, the plane is followed both ways to the next; what the tracker believed of the frame it
// set out from stays beside it as an offset of the corners, and between two such frames both ways are blended, linearly
// in time: exact at the ends, without a jump between.
#pragma once
#include <map>
#include <string>
#include <vector>

#include "base/motion.h"
#include "base/problem.h"

namespace pw {

// Where a person says the region's corners are, on one frame.
struct FixedCorners {
  int frame = 0;
  std::vector<Point> corners;  // As many as the region has, in its order.
  std::string file;            // Where it is written, for problems; empty and 0 when nowhere.
  int line = 0;
};

// The poses that put the region's corners there, by frame; the reference's own is always among them. Four corners are
// met exactly, more of them by least squares. Problems: another number of corners than the region has; corners that are
// not finite, twisted, seen from behind or flat, or, when there are more than four, further than kMostMisfitPx from
// where the others put them; a frame that is not one of `first` to `last`, or is given twice; the reference elsewhere
// than the region.
inline constexpr double kMostMisfitPx = 3;
Result<std::map<int, Matrix3>> fixed_poses(const std::vector<FixedCorners>& fixed, const std::vector<Point>& region,
                                           int reference, int first, int last);

// How the plane was followed from a frame on which its place is given (a fixed one or the reference), one way.
struct FollowedWay {
  int from = 0;
  int direction = 1;
  Matrix3 given, believed;  // frame_from_ref there, as given and as the tracker has it.
  std::vector<Pose> poses;  // Of the frames from there to before the next given one, in the order visited.
};

// All ways put together, with the given frames: poses by ascending frames. A frame that both ways reach, but more than
// `apart_px` apart, is weak. Covariances are those of the tracker; of a given frame 0.
std::vector<Pose> joined(const std::vector<FollowedWay>& ways, const std::vector<Point>& region, double apart_px);

}  // namespace pw
