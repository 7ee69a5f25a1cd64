// Footage as a camera without lens distortion, whose rows are all taken at once, would have seen it; and a plane
// tracked in it. The tracker stays one of homographies: what bends the pictures is taken out of them first, by
// resampling. For rows one after the other that takes the motion, so footage is tracked, straightened by what was
// found, and tracked again.
#pragma once
#include "track/plane.h"

namespace pw {

class Rectified final : public PlaneFrames {
 public:
  // `bend`: size, lens, readout and, for the latter, the motion known so far. Both must outlive it.
  Rectified(const PlaneFrames& seen, const Motion& bend);
  int first() const override { return seen_.first(); }
  int last() const override { return seen_.last(); }
  double shutter_deg() const override { return seen_.shutter_deg(); }
  // Pixel (x, y) shows the ideal point (x - margin, y - margin): ideal pictures are larger where the lens is a barrel.
  Picture image(int frame) const override;
  Picture ignore(int frame) const override;  // Also where nothing was seen.
  int margin() const { return margin_; }

 private:
  std::optional<Point> source(int frame, const Point& out) const;
  const PlaneFrames& seen_;
  const Motion& bend_;
  int margin_ = 0;
};

struct BentOptions {
  PlaneOptions plane;  // Its region as it is seen.
  Lens lens;
  double readout = 0;         // See Motion.
  bool find_readout = false;  // `readout` is where to start from; see readout.h.
  int find_lens = 0;          // Terms, 1 (k1) or 2 (and k2); `lens` is where to start from; see lens_search.h.
};

// As track_plane(), for footage that bends: the motion carries lens and readout, and its covariances are those of where
// the corners are seen; corners are fixed where they are seen. More problems: a corner where the lens sees nothing; a
// readout or a lens that the motion does not fix; a lens to be found in rows that are taken one after the other;
// corners fixed where there is a readout.
Result<Motion> track_bent(const PlaneFrames& frames, const BentOptions& options, const Runner& runner,
                          const std::function<bool(int done, int total)>& progress = {});

}  // namespace pw
