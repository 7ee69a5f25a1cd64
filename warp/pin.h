// A still as a frame of the shot sees it.
#pragma once
#include <vector>

#include "base/motion.h"
#include "warp/resample.h"

namespace pw {

struct Pin {
  const Motion& motion;
  int frame = 0;           // That is to see the still.
  double shutter_deg = 0;  // Of the shot, 0 to 360; open over frame +- shutter_deg / 720 frames. 0: no smear.
  // The frame whose pixels the still lies in; none: the motion's reference.
  std::optional<int> own_frame;
  // The frames it was made from, whose smear it carries with equal shares; empty: it is sharp.
  std::vector<int> smeared_by;
  double own_shutter_deg = 0;  // Of those frames.
  ResampleOptions options;
};

// The still over `out`, moved to the frame and smeared by what the frame's shutter smears more than it is smeared
// already (see smear.h); where the still is smeared more, it stays so (undoing it by signed weights was measured: 1 to
// 3 dB on a clean picture for weights whose sizes add up to 2.7 and more, that is for ringing and more grain). Smear is
// worked out at points 64 pixels apart from each pixel's path while the shutter is open, and takes two samples or more
// per pixel of it. The picture must be in linear light. A still of one frame pinned at that frame with the same shutter
// keeps its bits. Nothing when the motion does not know the frame or the own frame. With a motion's lens or readout the
// still is taken as it was seen in its own frame, and drawn as the frame sees it: the lens is undone and done again,
// and every row has its own time.
std::optional<Picture> pin(const Picture& still, const Pin& pin, const Rect& out);

// The pixels of a still over `still_window` that can matter to that: a sound bound. Empty when there is no answer.
Rect pin_reach(const Pin& pin, const Rect& out, const Rect& still_window);

}  // namespace pw
