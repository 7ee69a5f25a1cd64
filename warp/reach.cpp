#include <Eigen/LU>
#include <cmath>

#include "warp/area.h"
#include "warp/resample.h"

namespace pw {
namespace {

// Source pixels from..to (inclusive) along one axis, brought inside a source that ends at begin and end. Cells of a
// halved source reach `cell` further in than the pixels they stand for.
struct Span {
  int from, to;
};
std::optional<Span> inside(double from, double to, double cell, int begin, int end, Edge edge) {
  const double first = begin, last = end - 1;
  switch (edge) {
    case Edge::clear:
      if (to + cell < first || from - cell > last) return std::nullopt;
      break;
    case Edge::hold:
      from = std::clamp(from, first, last), to = std::clamp(to, first, last);
      break;
    case Edge::mirror: {
      // What sticks out is needed once more, folded back.
      const double left = first - from, right = to - last;
      if (left > 0) from = first, to = std::max(to, first + left - 1);
      if (right > 0) to = last, from = std::min(from, last - right + 1);
      break;
    }
  }
  return Span{static_cast<int>(std::max(from - cell, first)), static_cast<int>(std::min(to + cell, last))};
}

class Reach {
 public:
  Reach(const Matrix3& source_from_out, const Rect& window, const ResampleOptions& options)
      : m_(source_from_out), window_(window), options_(options) {}

  // Adds what the pixel centres from (x0, y0) to (x1, y1), inclusive, need.
  void add(double x0, double y0, double x1, double y1, int depth) {
    double w_low = 1e300, w_high = -1e300;
    Point low(1e300, 1e300), high = -low;
    for (double x : {x0, x1})
      for (double y : {y0, y1}) {
        const Eigen::Vector3d q = m_ * Eigen::Vector3d(x, y, 1);
        w_low = std::min(w_low, q.z()), w_high = std::max(w_high, q.z());
        low = low.cwiseMin(q.head<2>() / q.z()), high = high.cwiseMax(q.head<2>() / q.z());
      }
    if (!(w_high > 0)) return;  // All behind.
    constexpr int kDeepest = 7;
    const bool even = w_low > 0 && w_high < 1.1 * w_low;
    if (even || (w_low > 0 && depth == kDeepest)) return add_span(low, high, w_low);
    if (depth == kDeepest) {
      all_ = unite(all_, window_);
      return;
    }
    const double mx = std::floor((x0 + x1) / 2) + 0.5, my = std::floor((y0 + y1) / 2) + 0.5;
    // Halves may share a row of centres; one that has no further one stays.
    for (const auto& [a, b] : {std::pair{x0, std::min(mx, x1)}, std::pair{std::min(mx, x1), x1}})
      for (const auto& [c, d] : {std::pair{y0, std::min(my, y1)}, std::pair{std::min(my, y1), y1}})
        add(a, c, b, d, depth + 1);
  }
  Rect all() const { return all_; }

 private:
  void add_span(const Point& low, const Point& high, double w) {
    // Bound of the derivative's larger singular value. Its elements are (m_ij - position_i m_2j) / w: take the middle
    // position, and what the others differ by.
    Eigen::Matrix2d middle, off;
    for (int i = 0; i < 2; ++i)
      for (int j = 0; j < 2; ++j) {
        middle(i, j) = m_(i, j) - (low(i) + high(i)) / 2 * m_(2, j);
        off(i, j) = (high(i) - low(i)) / 2 * m_(2, j);
      }
    const Eigen::Matrix2d a = middle * middle.transpose();
    const double longest = std::sqrt((a(0, 0) + a(1, 1)) / 2 + std::hypot((a(0, 0) - a(1, 1)) / 2, a(0, 1)));
    const double shrink = std::max(1.0, (longest + off.norm()) / w * (1 + 1e-6)), radius = taps(options_.filter) / 2.0;
    // A stretched kernel's box is at most sqrt 2 of its longer side; cells of halved sources, from 8 on, are at most a
    // quarter of it and made of three times that.
    const double around = shrink <= kShrinkStart ? radius : radius * std::sqrt(2.0) * shrink + 1;
    const double cell = shrink >= 7 ? std::ceil(shrink) : 0;
    const auto span = [&](double from, double to, int begin, int end) {
      return inside(std::floor(from - 0.5 - around + 1e-6) + 1, std::floor(to - 0.5 + around + 1e-6), cell, begin, end,
                    options_.edge);
    };
    const auto x = span(low.x(), high.x(), window_.x0, window_.x1), y = span(low.y(), high.y(), window_.y0, window_.y1);
    if (x && y) all_ = unite(all_, {x->from, y->from, x->to + 1, y->to + 1});
  }

  const Matrix3 m_;
  const Rect window_;
  const ResampleOptions& options_;
  Rect all_;
};

}  // namespace

Rect source_reach(const Matrix3& out_from_source, const Rect& out, const Rect& source_window,
                  const ResampleOptions& options) {
  const Matrix3 source_from_out = out_from_source.inverse();
  if (out.empty() || source_window.empty() || !out_from_source.allFinite() || !source_from_out.allFinite()) return {};
  Reach reach(source_from_out, source_window, options);
  reach.add(out.x0 + 0.5, out.y0 + 0.5, out.x1 - 0.5, out.y1 - 0.5, 0);
  return reach.all();
}

}  // namespace pw
