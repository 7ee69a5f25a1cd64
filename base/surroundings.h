// The light that comes from all around, as far as a picture shows it.
#pragma once
#include <array>
#include <vector>

#include "base/picture.h"

namespace pw {

// The mean of a picture's light around a place, weighted with a Gaussian of deviation `spread_px`: what a small thing
// that sends light on from a wide angle shows. Made from cells of 1/48 of the picture's width. What the picture does
// not show counts as the mean of what it does.
class Surroundings {
 public:
  // `picture` over `canvas` (linear light, premultiplied).
  Surroundings(const Picture& picture, const Rect& canvas, double spread_px);
  std::array<float, 3> at(double x, double y) const;

 private:
  Rect canvas_;
  int cell_ = 1, columns_ = 0, rows_ = 0;
  std::vector<std::array<float, 3>> light_;  // At the cells' middles, row by row.
};

// What a drop of rain sends on: the surroundings as far as a fifth of the canvas's width.
inline Surroundings around_drops(const Picture& picture, const Rect& canvas) {
  return {picture, canvas, 0.2 * canvas.width()};
}

}  // namespace pw
