// A plane tracked through a lens that is not known beforehand. Footage is tracked as it is; what homographies leave in
// patches of some frames (track/patches.h) gives the lens (track/lens_fit.h); it is tracked again through that lens,
// and patches are looked at anew, until the lens stays where it is.
#pragma once
#include "track/rectified.h"

namespace pw {

// The lens that patches of at most kLensFrames frames ask for, of those that are good or weak, spread over the motion,
// whose own lens is where to start from; it has no readout. `terms`: 1 (k1) or 2 (k1 and k2). Problems: those of
// fit_lens(); fewer than 2 such frames.
inline constexpr size_t kLensFrames = 16;
Result<Lens> find_lens(const PlaneFrames& frames, const Motion& motion, int terms, const Runner& runner);

// As track_bent(), `options.find_lens` terms of the lens found: the motion carries it with standard deviations. Not
// with a readout: rows taken one after the other bend a plane too.
Result<Motion> track_finding_lens(const PlaneFrames& frames, const BentOptions& options, const Runner& runner,
                                  const std::function<bool(int done, int total)>& progress = {});

}  // namespace pw
