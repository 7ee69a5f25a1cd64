// Four numbers that change slowly over a window: known at every kStep-th pixel, straight in between.
#pragma once
#include <vector>

#include "base/transform.h"
#include "track/raster.h"

namespace pw {

class Field {
 public:
  static constexpr int kStep = 16;
  Field() = default;
  explicit Field(const Rect& window);  // All zero.

  const Rect& window() const { return window_; }
  const std::vector<f4>& nodes() const { return nodes_; }
  // The numbers at each node from those of a point.
  template <class At>
  void fill(const At& at) {
    for (size_t i = 0; i < nodes_.size(); ++i)
      nodes_[i] = at(Point(window_.x0 + 0.5 + kStep * int(i % columns_), window_.y0 + 0.5 + kStep * int(i / columns_)));
  }
  // Those of the window's pixels in row y, y0 <= y < y1.
  void row(int y, std::vector<f4>& out) const;

 private:
  Rect window_;
  int columns_ = 0;
  std::vector<f4> nodes_;
};

}  // namespace pw
