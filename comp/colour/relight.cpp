#include "comp/colour/relight.h"

#include <algorithm>
#include <array>

#include "base/elementary.h"

namespace pw {

Picture relit(const Picture& picture, const Light& light, int frame, double amount, double scale, const Rect& rect) {
  const Rect inside = intersect(rect, picture.window());
  const LightFrame* field = light.find(frame);
  if (!field || amount == 0 || inside.empty()) return picture.cropped(rect);
  Canvas out = Canvas::copy(picture, inside);
  const int channels = picture.channels();
  for (int y = inside.y0; y < inside.y1; ++y) {
    float* p = out.row(y);
    for (int x = inside.x0; x < inside.x1; ++x, p += channels) {
      std::array<float, 3> stops;
      light.at(*field, (x + 0.5) / scale, (y + 0.5) / scale, stops);
      for (int k = 0; k < std::min(3, channels); ++k)
        p[k] *= exp2(static_cast<float>(amount) * stops[channels == 1 ? 1 : k]);
    }
  }
  return std::move(out).finish();
}

}  // namespace pw
