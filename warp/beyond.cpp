#include "warp/beyond.h"

#include <algorithm>

namespace pw {
namespace {

struct Span {
  int from = 0, to = 0;
};
Span shown_of(int from, int to, int begin, int end, Edge edge) {
  Span s{end, begin};
  for (int i = from; i < to; ++i)
    if (const auto at = shown_at(i, begin, end, edge)) s = {std::min(s.from, *at), std::max(s.to, *at + 1)};
  return s;
}

}  // namespace

std::optional<int> shown_at(int i, int begin, int end, Edge edge) {
  if (i >= begin && i < end) return i;
  if (edge == Edge::clear) return std::nullopt;
  if (edge == Edge::hold) return std::clamp(i, begin, end - 1);
  const int n = end - begin, period = 2 * n;
  const int j = ((i - begin) % period + period) % period;
  return begin + (j < n ? j : period - 1 - j);
}

Picture with_beyond(const Picture& source, const Rect& ends, Edge edge, const Rect& rect) {
  Canvas out = Canvas::copy(source, rect);
  if (edge == Edge::clear || ends.empty() || ends.contains(rect)) return std::move(out).finish();
  const int channels = source.channels();
  for (int y = rect.y0; y < rect.y1; ++y)
    for (int x = rect.x0; x < rect.x1; ++x) {
      if (ends.contains(x, y)) continue;
      const int fx = *shown_at(x, ends.x0, ends.x1, edge), fy = *shown_at(y, ends.y0, ends.y1, edge);
      if (source.window().contains(fx, fy)) std::copy_n(source.at(fx, fy), channels, out.at(x, y));
    }
  return std::move(out).finish();
}

Rect beyond_reach(const Rect& ends, Edge edge, const Rect& rect) {
  if (ends.empty() || rect.empty()) return {};
  const Span x = shown_of(rect.x0, rect.x1, ends.x0, ends.x1, edge),
             y = shown_of(rect.y0, rect.y1, ends.y0, ends.y1, edge);
  return x.from < x.to && y.from < y.to ? Rect{x.from, y.from, x.to, y.to} : Rect{};
}

}  // namespace pw
