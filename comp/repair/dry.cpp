#include "comp/repair/dry.h"

#include <algorithm>

namespace pw {

Picture dried(const Picture& picture, const std::array<double, 3>& rain, const Surroundings& around, const Rect& rect) {
  const Rect w = intersect(picture.window(), rect);
  const int channels = picture.channels();
  Canvas canvas = Canvas::copy(picture, w);
  for (int y = w.y0; y < w.y1; ++y)
    for (int x = w.x0; x < w.x1; ++x) {
      float* p = canvas.at(x, y);
      const std::array<float, 3> light = around.at(x + 0.5, y + 0.5);
      const float cover = channels == 4 ? p[3] : 1;
      for (int k = 0; k < 3; ++k)
        p[k] = std::max(std::min(0.f, p[k]), p[k] - cover * static_cast<float>(rain[k]) * light[k]);
    }
  return std::move(canvas).finish();
}

}  // namespace pw
