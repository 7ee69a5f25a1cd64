#include "track/raster.h"

#include <algorithm>

#include "base/pool.h"

namespace pw {

Raster::Raster(const Rect& window) : window_(window.empty() ? Rect{} : window) {
  if (!window_.empty()) data_ = take_buffer(size_t(window_.area()) * 4);
}

Raster raster(const Picture& p, const Rect& window) {
  Raster r(window);
  const int channels = std::min(3, p.channels());
  const Rect& from = p.window();
  for (int y = r.window().y0; y < r.window().y1; ++y) {
    const int sy = std::clamp(y, from.y0, from.y1 - 1);
    f4* out = r.row(y);
    for (int x = r.window().x0; x < r.window().x1; ++x, ++out) {
      const float* in = p.at(std::clamp(x, from.x0, from.x1 - 1), sy);
      *out = channels == 3 ? f4{in[0], in[1], in[2], 0} : f4{in[0], channels > 1 ? in[1] : 0.f, 0, 0};
    }
  }
  return r;
}

Raster halved(const Raster& r) {
  const Rect& from = r.window();
  const Rect to{from.x0 / 2, from.y0 / 2, from.x1 / 2, from.y1 / 2};
  Raster out(to);
  if (to.empty()) return out;
  const int width = to.width();
  Raster rows({to.x0, from.y0, to.x1, from.y1});
  for (int y = from.y0; y < from.y1; ++y) {
    const f4* in = r.row(y);
    f4* o = rows.row(y);
    const int last = from.width() - 1;
    for (int x = 0; x < width; ++x)
      o[x] = (in[std::max(0, 2 * x - 1)] + in[std::min(last, 2 * x + 2)]) * splat(0.125f) +
             (in[2 * x] + in[2 * x + 1]) * splat(0.375f);
  }
  for (int y = to.y0; y < to.y1; ++y) {
    const f4 *a = rows.row(std::max(from.y0, 2 * y - 1)), *b = rows.row(2 * y), *c = rows.row(2 * y + 1),
             *d = rows.row(std::min(from.y1 - 1, 2 * y + 2));
    f4* o = out.row(y);
    for (int x = 0; x < width; ++x) o[x] = (a[x] + d[x]) * splat(0.125f) + (b[x] + c[x]) * splat(0.375f);
  }
  return out;
}

Rect aligned(const Rect& r, int step) {
  const auto down = [step](int v) { return (v >= 0 ? v / step : -((-v + step - 1) / step)) * step; };
  return r.empty() ? Rect{} : Rect{down(r.x0), down(r.y0), -down(-r.x1), -down(-r.y1)};
}

}  // namespace pw
