// Which frames of a shot make good stills of a region.
#pragma once
#include "apps/command.h"

namespace pw {

// Ranks the frames by how empty the region is (as the mattes of --thing tell), how much of it the frame covers and how
// sharp it is there, best first. Without --thing emptiness is not known; then the column "unlike" tells how much of the
// region differs from the median of all frames: where the region is mostly empty the occupied frames stand out, where
// it is mostly occupied the empty ones do.
int rank_stills(const ProbeCommand& c);

}  // namespace pw
