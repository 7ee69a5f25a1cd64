// Measures how a plane moves through a shot: for every frame the homography that takes the reference frame's region to
// it. Frames are visited outward from the reference, and from what a person has corrected; each starts from features
// and prediction (track/start.h) and ends in a direct alignment against the reference itself (track/align.h), so that
// nothing drifts.
#pragma once
#include <functional>
#include <vector>

#include "base/motion.h"
#include "base/parallel.h"
#include "base/picture.h"
#include "base/problem.h"
#include "track/corrected.h"
#include "track/limits.h"

namespace pw {

// Where the tracker gets its pictures. Frames are asked for one after the other, outward from the reference.
class PlaneFrames {
 public:
  virtual ~PlaneFrames() = default;
  virtual int first() const = 0;
  virtual int last() const = 0;  // Inclusive.
  // Scene-linear, 1 to 4 channels (3 are used), window from (0, 0), the same size in every frame; empty when the frame
  // cannot be read, which makes it `lost`.
  virtual Picture image(int frame) const = 0;
  // One channel: where it is above 0 the frame does not show the plane. Empty: nothing is ignored.
  virtual Picture ignore(int) const { return {}; }
  // 0 to 360: the shutter is open over f +- shutter_deg / 720 frames.
  virtual double shutter_deg() const { return 180; }
};

struct PlaneOptions {
  int reference = 1;
  std::vector<Point> region;  // In the reference frame: 4 or more corners, any simple outline, may reach outside.
  std::vector<std::vector<Point>> also;  // Other parts of the same plane, 3 corners or more each: seen like the region.
  // A frame is called weak when a corner's standard deviation is above this, in pixels.
  double weak_px = 0.5;
  MotionLimits limits;  // Motions the plane is taken to make; the rest stays as it is in the reference frame.
  std::vector<FixedCorners> fixed;  // What a person has corrected: exact there, see corrected.h.
  // All frames and one clean texture are solved for together (texture.h), in about twice the time. Each frame's own
  // grain and the reference's stay in its position; what is gained is that the reference's does not hide the texture.
  bool refine = false;
  // Without `refine`: where the reference's grain is heavy (noise.h) and there are frames enough, all are followed once
  // more against the mean of several good ones, in about half as much time again.
  bool keep_clean = true;
};

// Problems: a region of fewer than 4 corners, with corners that are not finite (`also` too), smaller than 12 x 12
// pixels, or wholly outside the picture or ignored; a reference that is not among the frames or cannot be read; fixed
// corners that cannot be (corrected.h); with `refine` fewer than kFewestViews - 1 frames fit for a texture; `progress`
// saying no. Frames that could not be followed are no problem: they carry a status and a reason, and poses from the
// frames around where there are some (bridge.h). The same bytes with any runner. progress(done, total) is called on the
// calling thread after each frame; false stops.
Result<Motion> track_plane(const PlaneFrames& frames, const PlaneOptions& options, const Runner& runner,
                           const std::function<bool(int done, int total)>& progress = {});

}  // namespace pw
