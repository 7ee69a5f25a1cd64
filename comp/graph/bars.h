// The bars of letterboxed footage. No node sees them: footage with an active part is clear around it. What is delivered
// gets them back.
#pragma once
#include "comp/graph/draw.h"

namespace pw {

// The footage whose bars are delivered: the one the shot is like, when it has any; else -1.
int bars_node(const Scene& scene);

// `picture` inside the active part of that footage, the footage's own pixels around it. A picture with alpha, where the
// footage has none, is an element that stands alone, and comes back as it is. Problems: those of reading the frame.
Result<Picture> with_bars(const Drawing& drawing, int frame, const Picture& picture);

}  // namespace pw
