// Which of the features followed through a shot move as one plane. From a frame on, homographies to several other
// frames at once are drawn from four neighbouring paths, and the set that most paths agree with is kept (M. A.
// Fischler, R. C. Bolles, "Random sample consensus", CACM 24, 1981; refined on what agrees as O. Chum, J. Matas, J.
// Kittler do, "Locally optimized RANSAC", DAGM 2003); then the rest is searched in the same way. To agree on all of
// those frames is what tells planes apart that a single pair of frames shows alike.
#pragma once
#include <map>
#include <vector>

#include "base/parallel.h"
#include "track/feature_paths.h"

namespace pw {

struct PlaneGroup {
  int base = 0;                            // The frame it was found on.
  std::map<int, Matrix3> frame_from_base;  // Where it is known: to about a pixel.
  std::vector<size_t> paths;               // Ascending.
};

inline constexpr size_t kFewestPaths = 12;  // Of a plane.

// The planes that are seen on `keys`, each path in one of them at most. The same with any runner.
std::vector<PlaneGroup> plane_groups(const FeaturePaths& paths, std::vector<int> keys, const Runner& runner);

}  // namespace pw
