#include "track/region.h"

#include <algorithm>
#include <cmath>

namespace pw {

Rect bounds(std::span<const Point> polygon) {
  if (polygon.empty()) return {};
  Point lo = polygon[0], hi = polygon[0];
  for (const Point& p : polygon) lo = lo.cwiseMin(p), hi = hi.cwiseMax(p);
  return {int(std::floor(lo.x())), int(std::floor(lo.y())), int(std::ceil(hi.x())), int(std::ceil(hi.y()))};
}

std::vector<float> coverage(std::span<const Point> polygon, const Rect& window) {
  const int width = window.width(), height = window.height();
  std::vector<float> share(size_t(width) * height, 0.f);
  std::vector<double> crossings;
  for (int y = 0; y < height; ++y)
    for (int sub = 0; sub < 4; ++sub) {
      const double at = window.y0 + y + (sub + 0.5) / 4;
      crossings.clear();
      for (size_t i = 0; i < polygon.size(); ++i) {
        const Point &a = polygon[i], &b = polygon[(i + 1) % polygon.size()];
        if ((a.y() <= at) != (b.y() <= at))
          crossings.push_back(a.x() + (at - a.y()) / (b.y() - a.y()) * (b.x() - a.x()));
      }
      std::sort(crossings.begin(), crossings.end());
      float* row = share.data() + size_t(y) * width;
      for (size_t i = 0; i + 1 < crossings.size(); i += 2) {
        // Sample k of the row lies at window.x0 + (k + 1/2) / 4.
        const int first = std::max(0, int(std::ceil((crossings[i] - window.x0) * 4 - 0.5)));
        const int last = std::min(4 * width, int(std::ceil((crossings[i + 1] - window.x0) * 4 - 0.5)));
        for (int k = first; k < last;) {
          const int end = std::min(last, k / 4 * 4 + 4);
          row[k / 4] += float(end - k) / 16;
          k = end;
        }
      }
    }
  return share;
}

std::vector<Point> mapped(const Matrix3& h, std::span<const Point> polygon) {
  std::vector<Point> out;
  for (const Point& p : polygon) out.push_back(map(h, p));
  return out;
}

bool contains(std::span<const Point> polygon, const Point& p) {
  bool inside = false;
  for (size_t i = 0; i < polygon.size(); ++i) {
    const Point &a = polygon[i], &b = polygon[(i + 1) % polygon.size()];
    if ((a.y() <= p.y()) != (b.y() <= p.y()) && a.x() + (p.y() - a.y()) / (b.y() - a.y()) * (b.x() - a.x()) > p.x())
      inside = !inside;
  }
  return inside;
}

double area_inside(std::span<const Point> polygon, const Rect& r) {
  std::vector<Point> shape(polygon.begin(), polygon.end());
  const auto clip = [&](auto inside) {
    std::vector<Point> kept;
    for (size_t i = 0; i < shape.size(); ++i) {
      const Point &a = shape[i], &b = shape[(i + 1) % shape.size()];
      const double da = inside(a), db = inside(b);
      if (da >= 0) kept.push_back(a);
      if ((da >= 0) != (db >= 0)) kept.push_back(a + da / (da - db) * (b - a));
    }
    shape = std::move(kept);
  };
  clip([&](const Point& p) { return p.x() - r.x0; });
  clip([&](const Point& p) { return r.x1 - p.x(); });
  clip([&](const Point& p) { return p.y() - r.y0; });
  clip([&](const Point& p) { return r.y1 - p.y(); });
  return shape.empty() ? 0 : std::abs(signed_area(shape));
}

bool plausible(const Matrix3& h, std::span<const Point> region) {
  if (!h.allFinite()) return false;
  std::vector<Point> mapped;
  for (const Point& p : region) {
    if (!(h(2, 0) * p.x() + h(2, 1) * p.y() + h(2, 2) > 1e-6)) return false;
    mapped.push_back(map(h, p));
  }
  const double ratio = signed_area(mapped) / signed_area(region);
  return ratio > 0.01 && ratio < 100;
}

double farthest(const Matrix3& a, const Matrix3& b, std::span<const Point> region) {
  double way = 0;
  for (const Point& p : region) way = std::max(way, (map(a, p) - map(b, p)).norm());
  return way;
}

}  // namespace pw
