#include "warp/displace.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

#include "warp/sampler.h"

namespace pw {
namespace {

// Neighbours of i along one axis inside [from, to), and what their difference is to be multiplied with.
struct Stencil {
  int before, after;
  float scale;
};
Stencil stencil(int i, int from, int to) {
  const int before = std::max(i - 1, from), after = std::min(i + 1, to - 1);
  return {before, after, after > before ? 1.f / static_cast<float>(after - before) : 0.f};
}

void find_places(const Picture& offsets, int x0, int y, int count, Places& out) {
  out.count = count;
  const Rect w = offsets.window();
  const Stencil v = stencil(y, w.y0, w.y1);
  for (int i = 0; i < count; ++i) {
    const Stencil h = stencil(x0 + i, w.x0, w.x1);
    const float *at = offsets.at(x0 + i, y), *left = offsets.at(h.before, y), *right = offsets.at(h.after, y),
                *up = offsets.at(x0 + i, v.before), *down = offsets.at(x0 + i, v.after);
    out.x[i] = x0 + i + 0.5 + at[0], out.y[i] = y + 0.5 + at[1];
    out.xx[i] = 1 + (right[0] - left[0]) * h.scale, out.xy[i] = (down[0] - up[0]) * v.scale;
    out.yx[i] = (right[1] - left[1]) * h.scale, out.yy[i] = 1 + (down[1] - up[1]) * v.scale;
    const float all = out.xx[i] + out.xy[i] + out.yx[i] + out.yy[i];
    if (!std::isfinite(all) || !std::isfinite(out.x[i] + out.y[i])) out.x[i] = std::numeric_limits<double>::quiet_NaN();
  }
}

}  // namespace

Picture displace(const Picture& source, const Picture& offsets, const Rect& out, const ResampleOptions& options) {
  if (offsets.channels() != 2) throw std::invalid_argument("displace: offsets need 2 channels");
  const Rect known = intersect(out, offsets.window());
  if (source.empty() || known.empty()) return Canvas::clear(out, source.channels()).finish();
  Canvas canvas = known == out ? Canvas(out, source.channels()) : Canvas::clear(out, source.channels());
  Sampler sampler(source, options);
  Places places;
  for (int y = known.y0; y < known.y1; ++y)
    for (int x = known.x0; x < known.x1; x += Places::kRun) {
      find_places(offsets, x, y, std::min(Places::kRun, known.x1 - x), places);
      sampler.sample(places, canvas.at(x, y));
    }
  return std::move(canvas).finish();
}

}  // namespace pw
