#include <algorithm>
#include <bit>
#include <cmath>
#include <vector>

#include "comp/matte/edge.h"

namespace pw {
namespace {

// Rows of a matte with the largest of every 2, 4, 8 ... neighbours.
class Largest {
 public:
  Largest(const Picture& wide, int longest) {
    const Rect w = wide.window();
    const int levels = std::bit_width(static_cast<unsigned>(std::max(1, longest)));
    for (int y = w.y0; y < w.y1; ++y) {
      rows_.emplace_back();
      rows_.back().emplace_back(wide.row(y), wide.row(y) + w.width());
      for (int k = 1; k < levels; ++k) {
        const std::vector<float>& half = rows_.back()[k - 1];
        const int step = 1 << (k - 1), count = static_cast<int>(half.size()) - step;
        std::vector<float> all(std::max(0, count));
        for (int i = 0; i < count; ++i) all[i] = std::max(half[i], half[i + step]);
        rows_.back().push_back(std::move(all));
      }
    }
  }
  const std::vector<float>& row(int y) const { return rows_[y][0]; }
  // to[i] = the largest of it and the `length` values of row y from first + i on.
  void take(int y, int first, int length, float* to, int count) const {
    const int k = std::bit_width(static_cast<unsigned>(length)) - 1, other = length - (1 << k);
    const float* a = rows_[y][k].data() + first;
    for (int i = 0; i < count; ++i) to[i] = std::max(to[i], std::max(a[i], a[i + other]));
  }

 private:
  std::vector<std::vector<std::vector<float>>> rows_;
};

// to[i] = the largest of it and a + t (b - a).
void take_between(const float* a, const float* b, float t, float* to, int count) {
  for (int i = 0; i < count; ++i) to[i] = std::max(to[i], a[i] + t * (b[i] - a[i]));
}

}  // namespace

Picture disc_largest(const Picture& matte, double radius, const Rect& rect) {
  if (rect.empty() || !(radius > 0)) return Canvas::copy(matte, rect).finish();
  const int whole = static_cast<int>(std::floor(radius)), reach = whole + 1, width = rect.width();
  const Picture wide = Canvas::copy(matte, rect.grown(reach)).finish();
  const Largest largest(wide, 2 * whole + 1);
  Canvas out = Canvas::copy(matte, rect);
  for (int y = rect.y0; y < rect.y1; ++y) {
    float* to = out.row(y);
    const int middle = y - rect.y0 + reach;
    const auto at = [&](int dx, int dy) { return largest.row(middle + dy).data() + reach + dx; };
    for (int d = -whole; d <= whole; ++d) {
      const double half = std::sqrt(radius * radius - double(d) * d);
      const int h = static_cast<int>(std::floor(half));
      const float t = static_cast<float>(half - h);
      largest.take(middle + d, reach - h, 2 * h + 1, to, width);
      for (const int side : {-1, 1}) {  // The rim, where it crosses rows and columns of pixels.
        take_between(at(side * h, d), at(side * (h + 1), d), t, to, width);
        take_between(at(d, side * h), at(d, side * (h + 1)), t, to, width);
      }
    }
  }
  return std::move(out).finish();
}

}  // namespace pw
