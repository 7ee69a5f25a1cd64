#include "warp/defocus.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <optional>

#include "base/transform.h"

namespace pw {
namespace {

// The opening is convex: at each height it is one piece.
struct Piece {
  double from, to;
};
std::optional<Piece> across(const Aperture& a, const std::vector<Point>& corners, double y) {
  if (corners.empty()) {
    const double square = a.radius_px * a.radius_px - y * y;
    if (square <= 0) return std::nullopt;
    return Piece{-std::sqrt(square), std::sqrt(square)};
  }
  Piece p{1e300, -1e300};
  for (size_t i = 0; i < corners.size(); ++i) {
    const Point &c = corners[i], &d = corners[(i + 1) % corners.size()];
    if ((c.y() > y) == (d.y() > y)) continue;
    const double x = c.x() + (y - c.y()) * (d.x() - c.x()) / (d.y() - c.y());
    p = {std::min(p.from, x), std::max(p.to, x)};
  }
  return p.from < p.to ? std::optional(p) : std::nullopt;
}

std::vector<Point> corners_of(const Aperture& a) {
  std::vector<Point> corners;
  for (int i = 0; a.blades >= 3 && i < a.blades; ++i) {
    const double turn = (a.turn_deg / 360 + double(i) / a.blades) * 2 * M_PI;
    corners.emplace_back(a.radius_px * std::sin(turn), -a.radius_px * std::cos(turn));
  }
  return corners;
}

double hat(double x) { return std::max(0.0, 1 - std::abs(x)); }
double hat_integral(double x) {  // From far left to x.
  if (x <= -1) return 0;
  if (x >= 1) return 1;
  return x < 0 ? (1 + x) * (1 + x) / 2 : 1 - (1 - x) * (1 - x) / 2;
}

// One row of weights as what is quick to add up: a run of equal ones and the rest one by one.
struct Row {
  int from = 0, count = 0;  // The run: where it begins, and how long it is.
  float even = 0;
  std::vector<std::pair<int, float>> single;
};
Row row_of(const ApertureWeights& w, int y) {
  Row row;
  for (int x = -w.reach; x <= w.reach;) {
    int end = x + 1;
    while (end <= w.reach && std::abs(w.at(end, y) - w.at(x, y)) < 1e-12) ++end;
    if (w.at(x, y) > 0 && end - x > row.count) row.from = x, row.count = end - x, row.even = float(w.at(x, y));
    x = end;
  }
  if (row.count < 4) row.count = 0;
  for (int x = -w.reach; x <= w.reach; ++x)
    if (w.at(x, y) > 0 && !(x >= row.from && x < row.from + row.count)) row.single.emplace_back(x, float(w.at(x, y)));
  return row;
}

// Sums of 1, 2, 4 ... neighbours of a row; each is the sum of two halves, whatever part of a picture the row is.
class RunSums {
 public:
  RunSums(const float* row, int width, int channels, int longest) : channels_(channels) {
    sums_.emplace_back(row, row + size_t(width) * channels);
    for (int k = 1; (1 << k) <= longest; ++k) {
      const std::vector<float>& half = sums_.back();
      const size_t step = size_t(channels) << (k - 1);
      std::vector<float> all(half.size() - step);
      for (size_t i = 0; i < all.size(); ++i) all[i] = half[i] + half[i + step];
      sums_.push_back(std::move(all));
    }
  }
  // to[i] = the sum of `count` pixels from pixel `from` on, i counting channels.
  void take(int from, int count, float* to, size_t n) const {
    bool first = true;
    for (int k = 0; (1 << k) <= count; ++k) {
      if (!(count >> k & 1)) continue;
      const float* s = sums_[k].data() + size_t(from) * channels_;
      if (first)
        std::copy_n(s, n, to);
      else
        for (size_t i = 0; i < n; ++i) to[i] += s[i];
      from += 1 << k;
      first = false;
    }
  }
  const float* pixel(int at) const { return sums_[0].data() + size_t(at) * channels_; }

 private:
  int channels_;
  std::vector<std::vector<float>> sums_;
};

}  // namespace

int defocus_reach(const Aperture& a) { return a.radius_px > 0 ? static_cast<int>(std::ceil(a.radius_px)) : 0; }

ApertureWeights aperture_weights(const Aperture& a) {
  ApertureWeights w;
  w.reach = defocus_reach(a);
  const int side = 2 * w.reach + 1;
  w.weight.assign(size_t(side) * side, 0);
  if (w.reach == 0) {
    w.weight[0] = 1;
    return w;
  }
  const std::vector<Point> corners = corners_of(a);
  // Thin strips across the opening, as many to each pixel's height, so that whole rows get the same from them.
  const int strips =
      static_cast<int>(std::ceil(std::max({64.0, 64 / a.radius_px, std::min(1024.0, 8192 / a.radius_px)})));
  double sum = 0;
  for (int j = -w.reach * strips; j < w.reach * strips; ++j) {
    const double y = (j + 0.5) / strips;
    const auto piece = across(a, corners, y);
    if (!piece) continue;
    const int row = static_cast<int>(std::floor(y));
    const double lower = hat(y - row), upper = hat(y - row - 1);
    for (int i = -w.reach; i <= w.reach; ++i) {
      const double share = hat_integral(piece->to - i) - hat_integral(piece->from - i);
      if (share <= 0) continue;
      w.weight[size_t(row + w.reach) * side + i + w.reach] += lower * share;
      w.weight[size_t(row + 1 + w.reach) * side + i + w.reach] += upper * share;
      sum += share;
    }
  }
  for (double& v : w.weight) v /= sum;
  return w;
}

Picture defocused(const Picture& source, const Aperture& a, const Rect& rect) {
  const ApertureWeights weights = aperture_weights(a);
  const int reach = weights.reach, channels = source.channels();
  if (reach == 0 || rect.empty()) return Canvas::copy(source, rect).finish();
  const Picture wide = Canvas::copy(source, rect.grown(reach)).finish();
  std::vector<Row> rows;
  int longest = 1;
  for (int y = -reach; y <= reach; ++y) {
    rows.push_back(row_of(weights, y));
    longest = std::max(longest, rows.back().count);
  }
  Canvas out = Canvas::clear(rect, channels);
  const size_t n = size_t(rect.width()) * channels;
  std::vector<float> run(n);
  for (int from = rect.y0 - reach; from < rect.y1 + reach; ++from) {
    const RunSums sums(wide.row(from), wide.window().width(), channels, longest);
    for (int y = std::max(rect.y0, from - reach); y < std::min(rect.y1, from + reach + 1); ++y) {
      // Light at `from` comes to y by the weights of row y - from; likewise in x.
      const Row& row = rows[y - from + reach];
      float* to = out.row(y);
      if (row.count > 0) {
        sums.take(reach - row.from - row.count + 1, row.count, run.data(), n);
        for (size_t i = 0; i < n; ++i) to[i] += row.even * run[i];
      }
      for (const auto& [x, weight] : row.single) {
        const float* s = sums.pixel(reach - x);
        for (size_t i = 0; i < n; ++i) to[i] += weight * s[i];
      }
    }
  }
  return std::move(out).finish();
}

}  // namespace pw
