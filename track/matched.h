// The two pictures of a plane at one level of their pyramids, made comparable for a homography: by what each lacks of
// the other's blur where halved pictures allow that (lack.h), else by footprints (footprint.h).
#pragma once
#include <optional>
#include <vector>

#include "track/lack.h"

namespace pw {

// A picture's pyramid: level k has half the size of level k - 1. Levels finer than `finest` are left empty.
struct Pyramid {
  std::vector<SplinePicture> level;
};
Pyramid pyramid(const Picture& p, const Rect& window, int finest, int coarsest, bool soft, const Runner& runner);

// A level of the reference: besides its spline its pixels, a one in their fourth float where they are the picture's
// own; none of the whole size.
struct ReferencePicture {
  SplinePicture view;
  Raster pixels;
};
std::vector<ReferencePicture> reference_pyramid(const Picture& p, const Rect& window, int coarsest,
                                                const Runner& runner);

class Matched {
 public:
  // Paths in pixels of `level`. `quick`: by what is lacking, on levels above the whole size. All that is passed must
  // outlive it.
  Matched(const ReferencePicture& reference, const Pyramid& frame, int level, bool quick, const Path& reference_path,
          const Path& frame_path, const Runner& runner)
      : reference_(reference),
        frame_(frame),
        level_(level),
        quick_(quick && level > 0),
        home_(reference_path),
        own_(frame_path),
        runner_(runner) {}

  // The reference over `window` as a frame at `h` sees it, in pixels of the level; the frame is seen accordingly from
  // now on.
  Raster reference(const Matrix3& h, const Rect& window);
  // The frame as the reference sees it, for an `h` near to the one that reference() was asked for, over its window
  // grown by at most kNudge.
  Raster frame(const Matrix3& h, const Rect& window) const;

 private:
  const ReferencePicture& reference_;
  const Pyramid& frame_;
  int level_;
  bool quick_;
  const Path &home_, &own_;
  const Runner& runner_;
  std::optional<Lacking> lacking_;
  Raster blurred_frame_;
};

}  // namespace pw
