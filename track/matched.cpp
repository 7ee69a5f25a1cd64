#include "track/matched.h"

#include <algorithm>
#include <cmath>

namespace pw {
namespace {

// A copy of the pixels with a one in the fourth float where the picture reaches.
Raster flagged(const SplinePicture& pixels) {
  const Rect w = pixels.spline.window();
  Raster out(w);
  for (int y = w.y0; y < w.y1; ++y)
    for (int x = w.x0; x < w.x1; ++x) {
      f4 v = pixels.spline.at(x, y);
      v[3] = pixels.real.contains(float(x) + 0.5f, float(y) + 0.5f) ? 1 : 0;
      out.at(x, y) = v;
    }
  return out;
}

}  // namespace

Pyramid pyramid(const Picture& p, const Rect& window, int finest, int coarsest, bool soft, const Runner& runner) {
  Pyramid out;
  const Rect& picture = p.window();
  const Rect all_of_it = aligned(window, 1 << coarsest);
  for (int l = 0; l <= coarsest; ++l) {
    Raster pixels;
    if (l == 0 && finest == 0)
      pixels = raster(p, all_of_it);
    else if (l == 1 && finest > 0)
      pixels = halved(p, all_of_it);
    else if (l > 0)
      pixels = halved(out.level.back().spline);
    if (l > 0 && l <= finest) out.level.back().spline = Raster();
    // A pixel of level l is made of those up to 1.5 of its own size away; a spline asks for two on every side.
    const float scale = std::ldexp(1.f, -l), edge = l > 0 ? 3 : 2;
    const Reach all = spline_reach(pixels.window());
    const Reach real{std::max(all.x0, picture.x0 * scale + edge), std::max(all.y0, picture.y0 * scale + edge),
                     std::min(all.x1, picture.x1 * scale - edge), std::min(all.y1, picture.y1 * scale - edge)};
    out.level.push_back({std::move(pixels), real, soft});
  }
  if (!soft) runner.run(out.level.size(), [&](size_t l) { to_spline(out.level[l].spline); });
  return out;
}

std::vector<ReferencePicture> reference_pyramid(const Picture& p, const Rect& window, int coarsest,
                                                const Runner& runner) {
  Pyramid pixels = pyramid(p, window, 0, coarsest, true, runner);
  std::vector<ReferencePicture> out(pixels.level.size());
  runner.run(out.size(), [&](size_t l) {
    SplinePicture& picture = pixels.level[l];
    if (l > 0) out[l].pixels = flagged(picture);
    to_spline(picture.spline);
    picture.soft = false;
    out[l].view = std::move(picture);
  });
  return out;
}

Raster Matched::reference(const Matrix3& h, const Rect& window) {
  const SplinePicture& view = reference_.view;
  lacking_.reset();
  if (quick_) lacking_ = lacking(level_, frame_.level, h, home_, own_, window.grown(kNudge));
  if (!lacking_) {
    Raster seen(window);
    see_reference(view, h, own_, frame_.level[level_].soft, seen, runner_);
    return seen;
  }
  const Raster& frame = frame_.level[lacking_->frame_level].spline;
  blurred_frame_ = blurred(frame, lacking_->frame.blur, frame.window(), false, runner_);
  const Lack& own = lacking_->reference;
  if (!own.sampled) return blurred(reference_.pixels, own.blur, window, true, runner_);
  Raster seen(window);
  see_along(blurred(view.spline, own.blur, view.spline.window(), false, runner_), view.real, Matrix3::Identity(), own,
            seen, runner_);
  return seen;
}

Raster Matched::frame(const Matrix3& h, const Rect& window) const {
  Raster seen(window);
  if (lacking_) {
    const double scale = lacking_->frame_scale;
    see_along(blurred_frame_, frame_.level[lacking_->frame_level].real, normalised(scaling(scale, scale) * h),
              lacking_->frame, seen, runner_);
  } else {
    see_frame(frame_.level[level_], h, home_, seen, runner_);
  }
  return seen;
}

}  // namespace pw
