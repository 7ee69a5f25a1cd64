// How the light of a moving plate changes against a still that is pinned to it.
#pragma once
#include <functional>

#include "base/light.h"
#include "base/motion.h"
#include "base/parallel.h"
#include "base/picture.h"
#include "base/problem.h"

namespace pw {

// Frames, asked for in order. Pictures are whole, scene-linear, in the plate's pixels.
class LightFrames {
 public:
  virtual ~LightFrames() = default;
  virtual int width() const = 0;
  virtual int height() const = 0;
  virtual int first() const = 0;
  virtual int last() const = 0;
  virtual Picture plate(int frame) const = 0;
  virtual Picture still(int frame) const = 0;   // Pinned: what the plate would show in the still's light.
  virtual Picture ignore(int frame) const = 0;  // 1 where the plate shows something else; may be empty.
};

// Method. Patches of 8 pixels give the ratio of the plate's light to the still's, as the one that has as many pixels
// above it as below, and how certain it is. Laid to the motion's reference frame (null: the camera stands still), all
// patches of all frames make a table of places and frames with gaps. It is taken to be a sum of a few products:
// patterns in space and channel, smooth as a thin plate is (J. Duchon 1977; G. Wahba, "Spline Models for Observational
// Data", 1990), each with a strength in every frame: one for what is constant, one for each lamp, cloud or exposure
// that goes its own way. A lamp has one strength whatever its colour, so the channels tell it together. Found by
// alternating least squares with robust weights (missing data: K. R. Gabriel, S. Zamir, "Lower rank approximation of
// matrices by least squares with any choice of weights", Technometrics 21, 1979). So a place that something hides in
// most frames is lit by what the frames that show it tell of its lamps. What is left over in a frame is added as a
// smooth field that dies away from where it was seen.
//
// Light that comes and goes in patches smaller than two cells cannot be told. `cell_px` >= 4. `progress` false: stop.
// A frame without patches is filled in from those around it, with a seen_share of 0. Problems: no frame shows a patch;
// stopped; no room for temporary files, which hold the table (12 bytes a channel, node and frame).
Result<Light> measure_light(const LightFrames& frames, const Motion* motion, double cell_px, const Runner& runner,
                            const std::function<bool(int done, int total)>& progress);

}  // namespace pw
