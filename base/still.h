// A still: one picture that stands for many frames, and what is known of how it was taken.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "base/picture.h"

namespace pw {

struct Still {
  Picture picture;  // In the pixels of its own frame.
  std::optional<int>
      own_frame;  // The frame whose pixels it lies in; none: those of the reference frame of whatever moves it.
  std::vector<int> frames;  // The frames it was made from, the main one first; empty: it was not taken from the shot,
                            // and carries no shutter smear that is known.
  double uncovered_share = 0;  // Share of its pixels that no frame showed, 0..1; those are clear.
  double grain_share = 1;      // What is left in it of one frame's grain, in standard deviation, 0..1.
  std::string fit;             // How it was brought to its place, as numbers with names, one a line; empty: it was not.
  std::string doubt;           // Why that is not to be trusted; empty when it is.
};

}  // namespace pw
