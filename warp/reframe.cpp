#include "warp/reframe.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>

#include "warp/beyond.h"

namespace pw {
namespace {

constexpr double kNoSmear = 0.02;
constexpr int kMost = 257, kLooks = 9;

bool whole(double v) { return v == std::floor(v) && std::abs(v) < 1e8; }

// The source pixel of output pixel (x, y) under a transform that keeps the grid, (x, y) in whole pixels.
struct Grid {
  int xx, xy, x0, yx, yy, y0;

  explicit Grid(const Matrix3& in_from_out) {
    const Eigen::Vector3d corner = in_from_out * Eigen::Vector3d(0.5, 0.5, 1);
    xx = int(in_from_out(0, 0)), xy = int(in_from_out(0, 1)), x0 = int(std::floor(corner.x()));
    yx = int(in_from_out(1, 0)), yy = int(in_from_out(1, 1)), y0 = int(std::floor(corner.y()));
  }
};

Picture on_grid(const Picture& source, const Grid& g, const Rect& out, const ResampleOptions& options) {
  const Rect ends = options.source_window.value_or(source.window());
  const int channels = source.channels();
  Canvas canvas = Canvas::clear(out, channels);
  for (int y = out.y0; y < out.y1; ++y)
    for (int x = out.x0; x < out.x1; ++x) {
      const auto fx = shown_at(g.xx * x + g.xy * y + g.x0, ends.x0, ends.x1, options.edge);
      const auto fy = shown_at(g.yx * x + g.yy * y + g.y0, ends.y0, ends.y1, options.edge);
      if (fx && fy && source.window().contains(*fx, *fy)) std::copy_n(source.at(*fx, *fy), channels, canvas.at(x, y));
    }
  return std::move(canvas).finish();
}

// How far a point of the frame goes, seen at equal moments from half before to half after the middle.
double way(const std::vector<Matrix3>& looks, const Point& p) {
  const Matrix3 source_from_frame = looks[kLooks / 2].inverse();
  double sum = 0;
  for (int i = 1; i < kLooks; ++i)
    sum += (map(looks[i] * source_from_frame, p) - map(looks[i - 1] * source_from_frame, p)).norm();
  return sum;
}

}  // namespace

Matrix3 transform_of(const Framing& f) {
  double turn = std::fmod(f.turn_deg, 360);
  if (turn < 0) turn += 360;
  const double radians = turn * M_PI / 180;
  const bool quarter = turn == 0 || turn == 90 || turn == 180 || turn == 270;
  const double c = quarter ? std::round(std::cos(radians)) : std::cos(radians);
  const double s = quarter ? std::round(std::sin(radians)) : std::sin(radians);
  const double fx = f.flip_x ? -f.scale : f.scale, fy = f.flip_y ? -f.scale : f.scale;
  Matrix3 m;
  m << c * fx, -s * fy, 0, s * fx, c * fy, 0, 0, 0, 1;
  m(0, 2) = f.about.x() + f.move.x() - (m(0, 0) * f.about.x() + m(0, 1) * f.about.y());
  m(1, 2) = f.about.y() + f.move.y() - (m(1, 0) * f.about.x() + m(1, 1) * f.about.y());
  return m;
}

std::vector<Matrix3> moments(const std::function<Framing(double)>& at, double shutter_deg, const Rect& canvas) {
  const double open = shutter_deg / 360;  // Frames.
  const auto spread = [&](int count) {
    std::vector<Matrix3> list;
    for (int i = 0; i < count; ++i) list.push_back(transform_of(at(open * (2 * i + 1 - count) / (2.0 * count))));
    return list;
  };
  if (!(open > 0)) return spread(1);
  const std::vector<Matrix3> looks = spread(kLooks);
  double longest = 0;
  for (const double x : {canvas.x0, canvas.x1})
    for (const double y : {canvas.y0, canvas.y1}) longest = std::max(longest, way(looks, {x, y}));
  longest *= double(kLooks) / (kLooks - 1);  // The looks are the middles of equal parts.
  if (!(longest > kNoSmear)) return spread(1);
  return spread(std::clamp(2 * static_cast<int>(std::ceil(longest - 1e-6)) + 1, 3, kMost));
}

bool keeps_grid(const Matrix3& m) {
  if (!m.allFinite() || m(2, 0) != 0 || m(2, 1) != 0 || m(2, 2) != 1) return false;
  const bool straight = std::abs(m(0, 0)) == 1 && std::abs(m(1, 1)) == 1 && m(0, 1) == 0 && m(1, 0) == 0;
  const bool turned = std::abs(m(0, 1)) == 1 && std::abs(m(1, 0)) == 1 && m(0, 0) == 0 && m(1, 1) == 0;
  const Eigen::Vector3d corner = m * Eigen::Vector3d(0.5, 0.5, 1);
  return (straight || turned) && whole(corner.x() - 0.5) && whole(corner.y() - 0.5);
}

Picture reframed(const Picture& source, std::span<const Matrix3> list, const Rect& out,
                 const ResampleOptions& options) {
  if (source.empty() || out.empty() || list.empty()) return Canvas::clear(out, source.channels()).finish();
  if (list.size() == 1 && keeps_grid(list[0]) && interpolates(options.filter))
    return on_grid(source, Grid(list[0].inverse()), out, options);
  if (list.size() == 1) return resample(source, list[0], out, options);
  const size_t row = size_t(out.width()) * source.channels();
  // In double precision, so that the mean of equal values is that value.
  std::vector<double> sum(row * out.height());
  for (const Matrix3& m : list) {
    const Picture p = resample(source, m, out, options);
    for (int y = 0; y < out.height(); ++y) {
      const float* from = p.row(out.y0 + y);
      double* to = sum.data() + y * row;
      for (size_t i = 0; i < row; ++i) to[i] += from[i];
    }
  }
  Canvas canvas(out, source.channels());
  for (int y = 0; y < out.height(); ++y) {
    float* to = canvas.row(out.y0 + y);
    for (size_t i = 0; i < row; ++i) to[i] = static_cast<float>(sum[y * row + i] / double(list.size()));
  }
  return std::move(canvas).finish();
}

Rect reframe_reach(std::span<const Matrix3> list, const Rect& out, const Rect& window, const ResampleOptions& options) {
  Rect all;
  for (const Matrix3& m : list) all = unite(all, source_reach(m, out, window, options));
  return all;
}

}  // namespace pw
