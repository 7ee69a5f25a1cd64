// A clean texture and all frames' positions solved for together (texture.h), for a tracker that has found all frames.
#pragma once
#include <functional>
#include <vector>

#include "track/texture.h"
#include "track/tracker.h"

namespace pw {

// Texture and positions in turn, once all frames have been found: against the texture, until the reference frame's own
// place on it is taken out of all others. A frame that is not found better keeps what it has. Where that is not asked
// for (PlaneOptions::refine), a texture of a few frames is made once, and only if they are fit for it.
class Together {
 public:
  // `motion`: by what was found so far. `home`: the reference's path, `image` and `ignore` its picture and what is
  // ignored there. `step`: so many frames more; false stops. All must outlive this; the tracker's reference becomes the
  // texture.
  Together(Tracker& tracker, const Motion& motion, const Path& home, const Picture& image, const Picture& ignore,
           std::function<bool(int count)> step)
      : tracker_(tracker), motion_(motion), home_(home), image_(image), ignore_(ignore), step_(std::move(step)) {}

  // How often a frame is visited at most, those that are in no texture left out.
  static int visits(const Tracker& tracker);
  // Moves the poses of `all`. Problems: `step` saying no; where it is asked for, too few frames fit for a texture, or a
  // reference unlike it.
  Result<void> run(std::vector<Tracker::Found>& all);

 private:
  // Frames of `found` are aligned to the texture (`again`) and looked at from there. False when stopped.
  bool visit(const std::vector<size_t>& which, bool again, bool look);

  Tracker& tracker_;
  const Motion& motion_;
  const Path& home_;
  const Picture &image_, &ignore_;
  std::function<bool(int count)> step_;
  std::vector<Tracker::Found> found_;  // Those of the tracker, and the reference frame's own at the end.
  std::vector<TextureView> views_;
  double moved_ = 0;  // A corner, at most, in the last round; pixels.
};

}  // namespace pw
