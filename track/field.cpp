#include "track/field.h"

#include <algorithm>

namespace pw {

Field::Field(const Rect& window) : window_(window), columns_((window.width() + kStep - 1) / kStep + 1) {
  nodes_.assign(size_t(columns_) * ((window.height() + kStep - 1) / kStep + 1), splat(0));
}

void Field::row(int y, std::vector<f4>& out) const {
  out.resize(window_.width());
  const int above = (y - window_.y0) / kStep;
  const f4 down = splat(float(y - window_.y0 - above * kStep) / kStep);
  const f4 *a = &nodes_[size_t(above) * columns_], *b = a + columns_;
  for (int i = 0; i + 1 < columns_; ++i) {
    const f4 left = a[i] + down * (b[i] - a[i]), right = a[i + 1] + down * (b[i + 1] - a[i + 1]);
    const f4 step = (right - left) * splat(1.f / kStep);
    const int end = std::min(window_.width(), (i + 1) * kStep);
    for (int x = i * kStep; x < end; ++x) out[x] = left + step * splat(float(x - i * kStep));
  }
}

}  // namespace pw
