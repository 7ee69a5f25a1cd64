#include "comp/matte/raster.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "comp/matte/sweep.h"

namespace pw {
namespace {

constexpr double kWhole = 1 << 30;       // A pixel's area, in the whole numbers it is added up in.
constexpr double kPixelWidth2 = 0.5776;  // (0.76 px)^2: a feather of 0 then is about a pixel wide.

double reach(double feather_px) { return feather_px > 0 ? std::sqrt(feather_px * feather_px + kPixelWidth2) : 0; }

// Integral of clamp(s, 0, 1) from 0 to v.
double ramp(double v) { return v <= 0 ? 0 : v < 1 ? 0.5 * v * v : v - 0.5; }

// The areas of one row, as differences along x: summed up from the left they give the filled area of each pixel. Whole
// numbers, so that the sum is exactly nothing outside and exactly everything inside.
class RowArea {
 public:
  RowArea(int x0, int x1) : x0_(x0), x1_(x1), cell_(x1 - x0 + 1), step_(x1 - x0 + 1) {}

  // Everything right of a border through a slab of this height.
  void add(const Border& b, int height, bool opens) {
    const double lo = std::min(b.top, b.bottom), hi = std::max(b.top, b.bottom);
    const int64_t sign = opens ? 1 : -1, full = int64_t{height} << 10;
    if (lo >= x1_) return;
    if (hi <= x0_) return void(step_[0] += sign * full);
    const int first = static_cast<int>(std::floor(std::max<double>(lo, x0_)));
    const int last = static_cast<int>(std::floor(std::min<double>(hi, x1_ - 1)));
    for (int x = first; x <= last; ++x) {
      const double share = hi - lo < 1e-9 ? std::clamp(x + 1 - 0.5 * (lo + hi), 0.0, 1.0)
                                          : (ramp(x + 1 - lo) - ramp(x + 1 - hi)) / (hi - lo);
      cell_[x - x0_] += sign * std::llround(share * static_cast<double>(full));
    }
    step_[last + 1 - x0_] += sign * full;
  }

  // The row's coverage; forgets it.
  void take(float* out) {
    int64_t right = 0;
    for (int x = 0; x < x1_ - x0_; ++x) {
      right += step_[x];
      const double area = static_cast<double>(right + cell_[x]);  // Off by a few units where borders were rounded.
      out[x] = static_cast<float>(std::clamp(area, 0.0, kWhole) / kWhole);
    }
    std::fill(cell_.begin(), cell_.end(), 0);
    std::fill(step_.begin(), step_.end(), 0);
  }

 private:
  int x0_, x1_;
  std::vector<int64_t> cell_, step_;
};

void draw_area(const SweepEdges& edges, Canvas& out) {
  const Rect r = out.window();
  RowArea area(r.x0, r.x1);
  int open_row = r.y0 - 1;
  sweep(edges, r.y0, r.y1, [&](int row, const Slab& slab) {
    if (row != open_row && open_row >= r.y0) area.take(out.row(open_row));
    open_row = row;
    for (size_t i = 0; i < slab.borders.size(); ++i) area.add(slab.borders[i], slab.y1 - slab.y0, i % 2 == 0);
  });
  if (open_row >= r.y0) area.take(out.row(open_row));
}

// Squared distance of pixel centres to a side, kept where it is the smallest yet.
void draw_distance(const Side& s, double reach, Canvas& squared) {
  const Rect r = squared.window();
  const double x_min = std::min(s.x0, s.x1) - reach, x_max = std::max(s.x0, s.x1) + reach;
  const double y_min = std::min(s.y0, s.y1) - reach, y_max = std::max(s.y0, s.y1) + reach;
  if (x_max <= r.x0 || x_min >= r.x1 || y_max <= r.y0 || y_min >= r.y1) return;
  const int left = std::max(r.x0, static_cast<int>(std::floor(x_min)));
  const int right = std::min(r.x1, static_cast<int>(std::ceil(x_max)));
  const int top = std::max(r.y0, static_cast<int>(std::floor(y_min)));
  const int bottom = std::min(r.y1, static_cast<int>(std::ceil(y_max)));
  // Relative to the pixel the side starts in, so that nothing depends on the rectangle.
  const int ox = static_cast<int>(std::floor(s.x0)), oy = static_cast<int>(std::floor(s.y0));
  const float fx = static_cast<float>(0.5 - (s.x0 - ox)), fy = static_cast<float>(0.5 - (s.y0 - oy));
  const float dx = static_cast<float>(s.x1 - s.x0), dy = static_cast<float>(s.y1 - s.y0);
  const float inverse = 1 / (dx * dx + dy * dy);
  for (int y = top; y < bottom; ++y) {
    float* row = squared.at(left, y);
    const float py = static_cast<float>(y - oy) + fy;
    for (int i = 0; i < right - left; ++i) {
      const float px = static_cast<float>(left - ox + i) + fx;
      float t = (px * dx + py * dy) * inverse;
      t = t < 0 ? 0 : t > 1 ? 1 : t;
      const float ex = px - t * dx, ey = py - t * dy;
      const float d = ex * ex + ey * ey;
      row[i] = d < row[i] ? d : row[i];
    }
  }
}

// 1 for pixels whose centre is filled, else 0.
void draw_centres(const SweepEdges& edges, Canvas& out) {
  const Rect r = out.window();
  sweep(edges, r.y0, r.y1, [&](int row, const Slab& slab) {
    if (slab.y0 != 1 << 19) return;  // The slab that starts in the middle of the row.
    for (size_t i = 0; i + 1 < slab.borders.size(); i += 2) {
      const auto from_centre = [&](double x) {
        return static_cast<int>(std::clamp(std::ceil(x - 0.5), double(r.x0), double(r.x1)));
      };
      const int a = from_centre(slab.borders[i].top), b = from_centre(slab.borders[i + 1].top);
      if (a < b) std::fill(out.row(row) + (a - r.x0), out.row(row) + (b - r.x0), 1.f);
    }
  });
}

void draw_feather(const SweepEdges& edges, double feather_px, Canvas& out) {
  const double reach = pw::reach(feather_px);
  const float far = static_cast<float>(reach * reach);
  Canvas squared = Canvas::filled(out.window(), 1, &far);
  for (const Side& s : boundary(edges)) {
    // In pieces, because the box around a long slanting side is mostly far from it.
    const int parts = static_cast<int>(std::ceil(std::hypot(s.x1 - s.x0, s.y1 - s.y0) / 16));
    for (int i = 0; i < parts; ++i) {
      const double a = double(i) / parts, b = double(i + 1) / parts;
      draw_distance(
          {s.x0 + a * (s.x1 - s.x0), s.y0 + a * (s.y1 - s.y0), s.x0 + b * (s.x1 - s.x0), s.y0 + b * (s.y1 - s.y0)},
          reach, squared);
    }
  }
  draw_centres(edges, out);
  const Rect r = out.window();
  const float scale = static_cast<float>(0.5 / reach);
  for (int y = r.y0; y < r.y1; ++y) {
    float* row = out.row(y);
    const float* d = squared.row(y);
    for (int i = 0; i < r.width(); ++i) {
      const float inside = row[i];
      // At full reach the square root need not come out as exactly the reach.
      const float off = d[i] < far ? std::sqrt(d[i]) * scale : 0.5f;
      const float u = inside > 0 ? 0.5f + off : 0.5f - off;
      row[i] = std::min(1.f, u * u * u * (u * (u * 6 - 15) + 10));
    }
  }
}

// Times at which to look, over the time the shutter is open.
std::vector<double> shutter_times(const Outline& outline, int frame, double shutter_deg) {
  if (!(shutter_deg > 0)) return {double(frame)};
  const double half = shutter_deg / 720;
  const Shape a = outline.at(frame - half, frame), b = outline.at(frame, frame), c = outline.at(frame + half, frame);
  double path = 0;
  for (size_t i = 0; i < a.contours.size(); ++i)
    for (size_t k = 0; k < a.contours[i].knots.size(); ++k) {
      const auto place = [&](const Shape& s) { return s.contours[i].knots[k].at; };
      path = std::max(path, (place(b) - place(a)).norm() + (place(c) - place(b)).norm());
    }
  const int n = path < 0.05 ? 1 : static_cast<int>(std::min(256.0, std::ceil(2 * path) + 1));
  std::vector<double> times;
  for (int i = 0; i < n; ++i) times.push_back(frame + half * ((2.0 * i + 1) / n - 1));
  return times;
}

Shape scaled(Shape s, double scale) { return scale == 1 ? s : mapped(s, scaling(scale, scale)); }

}  // namespace

Picture rasterise(const Shape& shape, const Rect& rect, double feather_px) {
  Canvas out = Canvas::clear(rect, 1);
  if (rect.empty() || intersect(rect, raster_bounds(shape, feather_px)).empty()) return std::move(out).finish();
  const SweepEdges edges = edges_of(shape);
  if (feather_px > 0)
    draw_feather(edges, feather_px, out);
  else
    draw_area(edges, out);
  return std::move(out).finish();
}

Rect raster_bounds(const Shape& shape, double feather_px) {
  return bounds(shape).grown(static_cast<int>(std::ceil(reach(feather_px))));
}

Picture rasterise(const Outline& outline, int frame, const Rect& rect, const RasterOptions& options) {
  const std::vector<double> times = shutter_times(outline, frame, options.shutter_deg);
  const double feather_px = options.feather_px * options.scale;
  const auto at = [&](double time) {
    return rasterise(scaled(outline.at(time, frame), options.scale), rect, feather_px);
  };
  if (times.size() == 1) return at(times[0]);

  std::vector<double> sum(static_cast<size_t>(rect.area()));
  for (double time : times) {
    const Picture one = at(time);
    double* s = sum.data();
    for (int y = rect.y0; y < rect.y1; ++y)
      for (int x = 0; x < rect.width(); ++x) *s++ += static_cast<double>(one.row(y)[x]);
  }
  Canvas out(rect, 1);
  const double* s = sum.data();
  for (int y = rect.y0; y < rect.y1; ++y)
    for (int x = 0; x < rect.width(); ++x) out.row(y)[x] = static_cast<float>(*s++ / double(times.size()));
  return std::move(out).finish();
}

Rect raster_bounds(const Outline& outline, int frame, const RasterOptions& options) {
  Rect all;
  for (double time : shutter_times(outline, frame, options.shutter_deg))
    all = unite(all, raster_bounds(scaled(outline.at(time, frame), options.scale), options.feather_px * options.scale));
  return all;
}

}  // namespace pw
