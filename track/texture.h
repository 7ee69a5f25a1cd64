// One clean texture of a plane, of all the frames that show it well. A reference frame's own grain and coding faults
// are in every comparison with it; the texture has those of many frames, which differ, and so nearly cancel. Frames and
// texture are solved for in turn, each time for the least sum of squares with the other held (alternating minimisation;
// R. C. Hardie, K. J. Barnard, E. E. Armstrong, "Joint MAP registration and high-resolution image estimation using a
// sequence of undersampled images", IEEE Transactions on Image Processing 6, 1997, from memory): positions by
// track/align.h, the texture by what is here. It lies where the reference frame does, pixel by pixel.
#pragma once
#include <span>
#include <vector>

#include "base/motion.h"
#include "track/align.h"

namespace pw {

// A frame as the texture's pixels see it.
struct TextureView {
  Raster
      seen;  // Over the reference's box, in its light; the fourth float is 1 where the frame shows the plane, else 0.
  Matrix3 frame_from_ref = Matrix3::Identity();
  Path path;  // While the frame's shutter is open.
};

// `ignore` may be empty; `a` with the light of each tile; the reference's own path.
TextureView texture_view(const Reference& reference, const Picture& frame, const Blocked& ignore, const Alignment& a,
                         const Path& reference_path, const Path& frame_path);

// `texture` with every pixel of the reference's region, where kFewestViews or more show it, moved to where the mean of
// what views see there beyond it is 0: by back-projection (M. Irani, S. Peleg, "Improving resolution by image
// registration", CVGIP: Graphical Models and Image Processing 53, 1991), for the views have the pixel's footprint once
// more. A mean by Student's t about the median, with each view's variance, so that what passes in front and what a
// codec left standing, in the reference too, count for little. The rest is as it was.
inline constexpr size_t kFewestViews = 4;
Picture clean_texture(const Reference& reference, const Picture& texture, std::span<const TextureView> views,
                      const Runner& runner);

// A pose on the texture, seen from the reference frame, whose own place there is `place`; the covariance of a corner is
// then that of both, which know nothing of each other but the texture.
Pose from_reference(const Pose& on_texture, const Pose& place, std::span<const Point> region);

// The frames to make a texture of, ascending, `most` at most and evenly spread: good, not much less certain than most,
// no smaller than the reference shows the plane, and smeared by kMostSmearPx at most: a longer way turns fine waves
// over, and back-projection then raises the noise in them. The reference itself is not among them.
inline constexpr double kMostSmearPx = 2;
std::vector<int> texture_frames(const Motion& motion, double shutter_deg, size_t most);

}  // namespace pw
