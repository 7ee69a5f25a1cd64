// Makes two pictures of one plane comparable, as footprint.h does, but quickly: each picture is blurred only by what it
// lacks of the other's blur, to second moments. What both share - their pixels where they see the plane from one
// distance, their smear where it moves steadily - costs nothing and takes nothing from the texture. Where smears differ
// much, each gets the other's whole way, by samples that lie as far apart as a blur fills. Both get a little more, for
// traces of waves that are too fine for a level. For halved pictures, whose finest waves are weak, so that blurs of
// equal moments are equal; needs linear light.
#pragma once
#include <optional>
#include <vector>

#include "base/parallel.h"
#include "track/field.h"
#include "track/footprint.h"

namespace pw {

// What one of both pictures lacks.
struct Lack {
  Field blur;           // Second moments xx, xy, yy, in its own pixels squared.
  Field way;            // Of the other's smear, in the reference's pixels: p and q of p t + q t^2, t from -1 to 1.
  Field shift;          // Where its samples have their mean, in the reference's pixels, and the way's length.
  bool sampled = true;  // Else way and shift are nothing.
};

struct Lacking {
  Lack reference, frame;
  int frame_level = 0;
  double frame_scale = 1;  // Pixels of frame_level for one of the reference's.
};

// What reference and frame lack over `window` of the reference's level by the homography h, all in pixels of that
// level. The frame's level is the one of `frame` that lacks least. None where more is lacking than second moments tell.
std::optional<Lacking> lacking(int level, const std::vector<SplinePicture>& frame, const Matrix3& h,
                               const Path& reference_path, const Path& frame_path, const Rect& window);

// `in` blurred as the field says, over `window`. Where `in` has ones in its fourth float all around, so has the result;
// elsewhere all is 0 if `flagged`.
Raster blurred(const Raster& in, const Field& moments, const Rect& window, bool flagged, const Runner& runner);

// out(x) = mean of spline(h(x')) over the way of `lack` about x; `real` as in SplinePicture, the fourth float as in
// footprint.h.
void see_along(const Raster& spline, const Reach& real, const Matrix3& h, const Lack& lack, Raster& out,
               const Runner& runner);

}  // namespace pw
