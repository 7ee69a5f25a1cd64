#include "warp/resample.h"

#include <Eigen/LU>
#include <cmath>

#include "warp/sampler.h"

namespace pw {

Picture resample(const Picture& source, const Matrix3& out_from_source, const Rect& out,
                 const ResampleOptions& options) {
  const Matrix3 source_from_out = out_from_source.inverse();
  if (source.empty() || out.empty() || !out_from_source.allFinite() || !source_from_out.allFinite())
    return Canvas::clear(out, source.channels()).finish();
  if (const auto shift = whole_shift(out_from_source); shift && interpolates(options.filter)) {
    const Picture moved = source.moved(shift->dx, shift->dy);
    if (options.edge == Edge::clear || moved.window().contains(out)) return Canvas::copy(moved, out).finish();
  }
  Canvas canvas(out, source.channels());
  Sampler sampler(source, options);
  Places places;
  for (int y = out.y0; y < out.y1; ++y)
    for (int x = out.x0; x < out.x1; x += Places::kRun) {
      find_places(source_from_out, x, y, std::min(Places::kRun, out.x1 - x), places);
      sampler.sample(places, canvas.at(x, y));
    }
  return std::move(canvas).finish();
}

}  // namespace pw
