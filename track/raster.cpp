#include "track/raster.h"

#include <algorithm>
#include <cstring>
#include <vector>

#include "base/pool.h"

namespace pw {

Raster::Raster(const Rect& window) : window_(window.empty() ? Rect{} : window) {
  if (!window_.empty()) data_ = take_buffer(size_t(window_.area()) * 4);
}

namespace {

// Columns x0 to x1 of a picture's row y.
void fill_row(const Picture& p, int x0, int x1, int y, f4* out) {
  const int channels = std::min(3, p.channels());
  const Rect& from = p.window();
  const int sy = std::clamp(y, from.y0, from.y1 - 1);
  const auto pixel = [channels](const float* in) {
    return channels == 3 ? f4{in[0], in[1], in[2], 0} : f4{in[0], channels > 1 ? in[1] : 0.f, 0, 0};
  };
  const int left = std::clamp(from.x0, x0, x1), right = std::clamp(from.x1, left, x1);
  std::fill_n(out, left - x0, pixel(p.at(from.x0, sy)));
  const float* in = p.at(left < right ? left : from.x0, sy);
  int x = left;
  if (channels == 3)  // All but the last are followed by another number.
    for (; x < right - 1; ++x, in += p.channels()) {
      f4 v;
      std::memcpy(&v, in, sizeof v);
      out[x - x0] = f4{v[0], v[1], v[2], 0};
    }
  for (; x < right; ++x, in += p.channels()) out[x - x0] = pixel(in);
  std::fill_n(out + (right - x0), x1 - right, pixel(p.at(from.x1 - 1, sy)));
}

// `row(y)` gives the row of what is halved.
template <class Row>
Raster halved(const Rect& from, const Row& row) {
  const Rect to{from.x0 / 2, from.y0 / 2, from.x1 / 2, from.y1 / 2};
  Raster out(to);
  if (to.empty()) return out;
  const int width = to.width(), last = from.width() - 1;
  std::vector<f4> rows(size_t(4) * width);  // Rows y of `from`, halved across, at y mod 4.
  const auto across = [&](int y) { return rows.data() + size_t((y - from.y0) % 4) * width; };
  int next = from.y0;
  for (int y = to.y0; y < to.y1; ++y) {
    for (; next < std::min(from.y1, 2 * y + 3); ++next) {
      const f4* in = row(next);
      f4* o = across(next);
      for (int x = 0; x < width; ++x)
        o[x] = (in[std::max(0, 2 * x - 1)] + in[std::min(last, 2 * x + 2)]) * splat(0.125f) +
               (in[2 * x] + in[2 * x + 1]) * splat(0.375f);
    }
    const f4 *a = across(std::max(from.y0, 2 * y - 1)), *b = across(2 * y), *c = across(2 * y + 1),
             *d = across(std::min(from.y1 - 1, 2 * y + 2));
    f4* o = out.row(y);
    for (int x = 0; x < width; ++x) o[x] = (a[x] + d[x]) * splat(0.125f) + (b[x] + c[x]) * splat(0.375f);
  }
  return out;
}

}  // namespace

Raster raster(const Picture& p, const Rect& window) {
  Raster r(window);
  for (int y = r.window().y0; y < r.window().y1; ++y) fill_row(p, r.window().x0, r.window().x1, y, r.row(y));
  return r;
}

Raster halved(const Raster& r) {
  return halved(r.window(), [&](int y) { return r.row(y); });
}

Raster halved(const Picture& p, const Rect& window) {
  std::vector<f4> line(window.width());
  return halved(window, [&](int y) {
    fill_row(p, window.x0, window.x1, y, line.data());
    return line.data();
  });
}

Raster softened(const Raster& r, int passes) {
  Raster from = r;
  for (int pass = 0; pass < passes; ++pass) {
    const Rect w = from.window(), to = w.grown(-1);
    Raster out(to);
    if (to.empty()) return out;
    std::vector<f4> column(w.width());
    for (int y = to.y0; y < to.y1; ++y) {
      const f4 *a = from.row(y - 1), *b = from.row(y), *c = from.row(y + 1);
      for (int x = 0; x < w.width(); ++x) column[x] = (a[x] + c[x]) * splat(0.25f) + b[x] * splat(0.5f);
      f4* o = out.row(y);
      for (int x = 0; x < to.width(); ++x) {
        const f4 v = (column[x] + column[x + 2]) * splat(0.25f) + column[x + 1] * splat(0.5f);
        o[x] = v[3] > 0.999f ? v : splat(0);
      }
    }
    from = out;
  }
  return from;
}

Rect aligned(const Rect& r, int step) {
  const auto down = [step](int v) { return (v >= 0 ? v / step : -((-v + step - 1) / step)) * step; };
  return r.empty() ? Rect{} : Rect{down(r.x0), down(r.y0), -down(-r.x1), -down(-r.y1)};
}

}  // namespace pw
