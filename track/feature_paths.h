// Features followed through a whole shot, each from where it comes up to where it is lost.
#pragma once
#include <functional>
#include <vector>

#include "base/problem.h"
#include "track/plane.h"

namespace pw {

struct FeaturePath {
  int first = 0;          // Frame.
  std::vector<Point> at;  // On that frame and those after it.
  int last() const { return first + static_cast<int>(at.size()) - 1; }
  bool seen(int frame) const { return frame >= first && frame <= last(); }
  const Point& on(int frame) const { return at[frame - first]; }
};

struct FeaturePaths {
  std::vector<FeaturePath> paths;
  int width = 0, height = 0;  // Of the frames, pixels.
  int spacing = 1;            // Pixels: on a frame where places are looked for, one path in each square of this side.
  double slack = 1;           // Pixels by which a path may be off.
};

// Paths over all frames in one pass from the first to the last, none over ignored pixels. Problems: no frame that can
// be read, `progress` saying no. A frame that cannot be read, or has another size, ends all paths.
Result<FeaturePaths> feature_paths(const PlaneFrames& frames,
                                   const std::function<bool(int done, int total)>& progress = {});

}  // namespace pw
