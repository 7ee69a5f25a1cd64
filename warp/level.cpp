#include "warp/level.h"

#include <algorithm>

namespace pw {
namespace {

// Index in [from, to) of the pixel that the edge's rule shows at i; i itself when the edge is clear.
int placed(int i, int from, int to, Edge edge) {
  if (edge == Edge::clear || (i >= from && i < to)) return i;
  if (edge == Edge::hold) return std::clamp(i, from, to - 1);
  const int64_t n = int64_t{to} - from, period = 2 * n;
  int64_t k = (int64_t{i} - from) % period;
  if (k < 0) k += period;
  return static_cast<int>(from + (k < n ? k : period - 1 - k));
}

int half_down(int i) { return i >> 1; }
int half_up(int i) { return (i + 1) >> 1; }

}  // namespace

int Level::column(int x) const { return placed(x, ends.x0, ends.x1, edge); }
int Level::row(int y) const { return placed(y, ends.y0, ends.y1, edge); }

const float* Level::find(int x, int y) const {
  if (ends.empty()) return nullptr;
  x = column(x), y = row(y);
  return picture.window().contains(x, y) ? picture.at(x, y) : nullptr;
}

Level halved(const Level& l) {
  // A clear surrounding gets a little of what lies at the edge.
  const int grow = l.edge == Edge::clear ? 2 : 0;
  const auto half = [grow](const Rect& r) {
    return r.empty() ? Rect{}
                     : Rect{half_down(r.x0 - grow), half_down(r.y0 - grow), half_up(r.x1 + grow), half_up(r.y1 + grow)};
  };
  const int channels = l.picture.channels();
  Canvas canvas(half(l.picture.window()), channels);
  const Rect w = canvas.window();
  constexpr float kWeight[] = {0.125f, 0.375f, 0.375f, 0.125f};
  for (int y = w.y0; y < w.y1; ++y)
    for (int x = w.x0; x < w.x1; ++x) {
      float sum[4] = {};
      for (int j = 0; j < 4; ++j)
        for (int i = 0; i < 4; ++i)
          if (const float* p = l.find(2 * x - 1 + i, 2 * y - 1 + j))
            for (int k = 0; k < channels; ++k) sum[k] += kWeight[i] * kWeight[j] * p[k];
      std::copy_n(sum, channels, canvas.at(x, y));
    }
  return {std::move(canvas).finish(), half(l.ends), l.edge};
}

}  // namespace pw
