// Which planes of a shot can be followed, from which frame and with which region best. Features are followed through
// the shot (feature_paths.h), parted by how they move (plane_groups.h), and each plane's region is drawn on some frames
// around what moves with it (rich_quad.h). The frames that promise most by their texture (texture_sigma.h) are tried:
// the region is aligned to frames all over the shot as the tracker would (align.h), and what the alignments say of
// their certainty is the prediction. How it is put together is our own; no source.
#pragma once
#include <functional>
#include <string>
#include <vector>

#include "base/parallel.h"
#include "base/problem.h"
#include "track/plane.h"

namespace pw {

struct FoundPlane {
  int reference = 0;
  std::vector<Point> region;   // In it: a convex quadrilateral of whole pixels, clockwise from its upper left corner.
  double area_px = 0;          // Square pixels.
  double share = 0;            // Of it in the picture, mean over all frames of the shot; 0 where it is not known.
  int inside = 0, frames = 0;  // Frames on which three quarters of it or more are in the picture; of the shot.
  int tried = 0, agreed = 0;   // Frames that were aligned to the reference, and those that looked like it.
  // What a corner will be known to, one standard deviation: the one whose worth is the mean of those frames'.
  double sigma_px = 0;
  double texture_px = 0;  // The same by the reference's texture alone (texture_sigma.h).
  double visible = 0;     // Share of its texture that was seen on those frames.
  double smear_px = 0;    // In the reference, while the shutter is open.
  double worth = 0;       // By which planes are ranked, 0 to 1.
  std::string reason;     // Why this frame, in words without a full stop.
  // Where the region's corners are on each frame, roughly; empty on frames that do not show the plane.
  std::vector<std::vector<Point>> corners;
};

struct FindOptions {
  // On the first frame: only planes, or their parts, that are seen in it there. Empty: wherever they are.
  std::vector<Point> look;
  size_t most = 8;
  MotionLimits limits;
};

// Best first; none where nothing flat and textured is seen. No region reaches over ignored pixels of its reference. The
// same with any runner. Problems: no frame that can be read, `progress` saying no.
Result<std::vector<FoundPlane>> find_planes(const PlaneFrames& frames, const FindOptions& options, const Runner& runner,
                                            const std::function<bool(int done, int total)>& progress = {});

}  // namespace pw
