#include "comp/media/orientation.h"

#include <algorithm>

namespace pw {

Picture set_upright(const Picture& p, int orientation) {
  if (orientation <= 1 || orientation > 8) return p;
  const int w = p.window().width(), h = p.window().height(), c = p.channels();
  const bool turned = lies_on_its_side(orientation);
  Canvas out(turned ? Rect::sized(h, w) : Rect::sized(w, h), c);
  // Which side of the upright picture the file's first row and first column are: TIFF 6.0, Orientation.
  const bool row_at_far_side = orientation == 3 || orientation == 4 || orientation == 6 || orientation == 7;
  const bool column_at_far_side = orientation == 2 || orientation == 3 || orientation == 7 || orientation == 8;
  for (int y = 0; y < out.window().height(); ++y)
    for (int x = 0; x < out.window().width(); ++x) {
      const int row = turned ? x : y, column = turned ? y : x;
      const float* from = p.at(column_at_far_side ? w - 1 - column : column, row_at_far_side ? h - 1 - row : row);
      std::copy(from, from + c, out.at(x, y));
    }
  return std::move(out).finish();
}

}  // namespace pw
