// Several views of one plane brought together into one still.
#pragma once
#include <functional>
#include <vector>

#include "base/motion.h"
#include "base/parallel.h"
#include "base/picture.h"

namespace pw {

struct View {
  Picture picture;         // 3 or 4 channels, scene-linear.
  Picture ignore;          // 1 channel: 1 where something stands in front; empty: nothing does.
  Matrix3 base_from_view;  // Maps its pixels to those of the still.
};

enum class Merge {
  sharpest,  // Each place from the first view that shows it; joins are feathered.
  median,    // Each place the median of all views that show it, channel by channel.
};

struct Together {
  Picture picture;             // 4 channels over `window`; clear where no view shows the place.
  double uncovered_share = 0;  // Of `area`, 0..1.
};

// `views` in order of preference, 1 to 64. The first has the identity as base_from_view when its pixels are to come
// back unchanged. `area`: the rectangle that should be covered. `feather_px`: width of the joins, and of the strip
// along the edges of a view that is used last.
Together bring_together(const std::vector<View>& views, const Rect& window, const Rect& area, Merge merge,
                        double feather_px, const Runner& runner);

// How far a frame's shutter smears the region: the longest path of one of its corners while the shutter is open, in
// pixels.
double smear_px(const Motion& motion, int frame, double shutter_deg);

}  // namespace pw
