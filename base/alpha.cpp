#include "base/alpha.h"

namespace pw {

Picture with_alpha(const Picture& p) {
  if (p.channels() == 4) return p;
  Canvas c(p.window(), 4);
  for (int y = p.window().y0; y < p.window().y1; ++y) {
    const float* in = p.row(y);
    float* out = c.row(y);
    for (int x = 0; x < p.window().width(); ++x, in += p.channels(), out += 4) {
      for (int k = 0; k < 3; ++k) out[k] = in[p.channels() == 3 ? k : 0];
      out[3] = 1;
    }
  }
  return std::move(c).finish();
}

}  // namespace pw
