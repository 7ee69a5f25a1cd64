// Integer rectangle in plate pixels, half-open: it holds the pixels x0 <= x < x1, y0 <= y < y1. It may reach outside
// the canvas.
#pragma once
#include <algorithm>
#include <cstdint>

namespace pw {

struct Rect {
  int x0 = 0, y0 = 0, x1 = 0, y1 = 0;

  static constexpr Rect sized(int width, int height) { return {0, 0, width, height}; }

  constexpr bool operator==(const Rect&) const = default;
  constexpr bool empty() const { return x1 <= x0 || y1 <= y0; }
  constexpr int width() const { return empty() ? 0 : x1 - x0; }
  constexpr int height() const { return empty() ? 0 : y1 - y0; }
  constexpr int64_t area() const { return int64_t{width()} * height(); }
  constexpr bool contains(int x, int y) const { return x >= x0 && x < x1 && y >= y0 && y < y1; }
  constexpr bool contains(const Rect& r) const {
    return r.empty() || (r.x0 >= x0 && r.y0 >= y0 && r.x1 <= x1 && r.y1 <= y1);
  }
  // Grown by `by` pixels on every side; an empty rectangle stays empty.
  constexpr Rect grown(int by) const { return empty() ? Rect{} : Rect{x0 - by, y0 - by, x1 + by, y1 + by}; }
  constexpr Rect moved(int dx, int dy) const { return {x0 + dx, y0 + dy, x1 + dx, y1 + dy}; }
};

constexpr Rect intersect(const Rect& a, const Rect& b) {
  const Rect r{std::max(a.x0, b.x0), std::max(a.y0, b.y0), std::min(a.x1, b.x1), std::min(a.y1, b.y1)};
  return r.empty() ? Rect{} : r;
}

// Smallest rectangle holding both; an empty one adds nothing.
constexpr Rect unite(const Rect& a, const Rect& b) {
  if (a.empty()) return b.empty() ? Rect{} : b;
  if (b.empty()) return a;
  return {std::min(a.x0, b.x0), std::min(a.y0, b.y0), std::max(a.x1, b.x1), std::max(a.y1, b.y1)};
}

}  // namespace pw
