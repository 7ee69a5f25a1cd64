// Pixels as the alignment wants them: four floats each (one vector register), so that one code path serves pictures of
// one to three channels; what a picture lacks is zero. Pixel (x, y) covers the square from (x, y) to (x + 1, y + 1).
#pragma once
#include <memory>

#include "base/picture.h"

namespace pw {

using f4 = float __attribute__((vector_size(16)));
using f8 = float __attribute__((vector_size(32)));  // Two pixels.
inline f4 splat(float v) { return f4{v, v, v, v}; }
inline f8 both(f4 a, f4 b) { return __builtin_shufflevector(a, b, 0, 1, 2, 3, 4, 5, 6, 7); }

class Raster {
 public:
  Raster() = default;
  explicit Raster(const Rect& window);  // Unspecified content.

  const Rect& window() const { return window_; }
  bool empty() const { return window_.empty(); }
  f4* row(int y) { return data() + int64_t{y - window_.y0} * window_.width(); }
  const f4* row(int y) const { return const_cast<Raster*>(this)->row(y); }
  f4& at(int x, int y) { return row(y)[x - window_.x0]; }
  const f4& at(int x, int y) const { return row(y)[x - window_.x0]; }

 private:
  f4* data() { return reinterpret_cast<f4*>(data_.get()); }
  Rect window_;
  std::shared_ptr<float[]> data_;
};

// The first three channels of `p` inside `window`; pixels outside the picture repeat its edge.
Raster raster(const Picture& p, const Rect& window);

// Half the size: each pixel the mean of 4 x 4 with weights 1 3 3 1 (a cubic binomial), edges repeated. Coordinates are
// halved exactly: point (x, y) becomes (x / 2, y / 2). The window's corners must be even.
Raster halved(const Raster& r);
// The same of raster(p, window), which need not be made for it.
Raster halved(const Picture& p, const Rect& window);

// Convolved `passes` times with (1 2 1) / 4 in both directions, over the window shrunk by as many pixels; the fourth
// float stays 1 where it was 1 all around, elsewhere all is 0.
Raster softened(const Raster& r, int passes);

// Smallest rectangle that holds `r` and whose sides are multiples of `step`.
Rect aligned(const Rect& r, int step);

}  // namespace pw
