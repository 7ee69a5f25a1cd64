#include "comp/colour/light_patch.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace pw {
namespace {

constexpr int kSide = 8;
constexpr int kFewest = kSide * kSide / 2;  // Pixels a patch needs.
// The least a ratio is uncertain by, in stops: a still never lies exactly on its plate.
constexpr double kFloor = 0.05;

struct Ratio {
  double stops = 0, weight = 0;
};

// The ratio that leaves as many pixels above p = ratio * c as below. Rain, which only adds light, moves that middle of
// one frame as it moves the middle of several that a still may be; and grain in the still does not bias it, which a fit
// by least squares would.
Ratio ratio_of(const std::array<float, kSide * kSide>& p, const std::array<float, kSide * kSide>& c, int n) {
  if (n < kFewest) return {};
  double sp = 0, sc = 0;
  for (int i = 0; i < n; ++i) sp += p[i], sc += c[i];
  if (!(sp > 0) || !(sc > 0)) return {};
  std::array<float, kSide * kSide> off;
  const auto middle = [&] {
    std::nth_element(off.begin(), off.begin() + n / 2, off.begin() + n);
    const float upper = off[n / 2];
    return n % 2 ? upper : 0.5f * (upper + *std::max_element(off.begin(), off.begin() + n / 2));
  };
  double g = sp / sc;
  for (int turn = 0; turn < 8; ++turn) {
    for (int i = 0; i < n; ++i) off[i] = static_cast<float>(p[i] - g * c[i]);
    const double step = middle() * n / sc;
    g += step;
    if (!(g > 0)) return {};
    if (std::abs(step) < 1e-5 * g) break;
  }
  for (int i = 0; i < n; ++i) off[i] = static_cast<float>(std::abs(p[i] - g * c[i]));
  const double sigma = 1.4826 * middle();
  // A median is less certain than a mean by the square root of pi / 2; in stops.
  const double sure = 1.2533 * 1.4426950408889634 * sigma * std::sqrt(static_cast<double>(n)) / (g * sc);
  return {std::log2(g), 1 / (kFloor * kFloor + sure * sure)};
}

}  // namespace

SeenLight see_light(const Picture& plate, const Picture& still, const Picture& ignore, const Matrix3& ref_from_frame,
                    const PlaceGrid& grid) {
  SeenLight seen{std::vector<float>(3 * size_t(grid.count())), std::vector<float>(3 * size_t(grid.count())), 0};
  std::vector<double> sum(seen.stops.size());
  const Rect r = intersect(plate.window(), still.window());
  if (plate.channels() < 3 || still.channels() < 3 || r.empty()) return seen;
  int used = 0, all = 0;
  for (int y0 = r.y0; y0 < r.y1; y0 += kSide)
    for (int x0 = r.x0; x0 < r.x1; x0 += kSide) {
      ++all;
      const Point at = map(ref_from_frame, Point(x0 + kSide / 2.0, y0 + kSide / 2.0));
      const double i = std::floor((at.x() - grid.x0) / grid.cell + 0.5),
                   j = std::floor((at.y() - grid.y0) / grid.cell + 0.5);
      if (!(i >= 0 && i < grid.columns && j >= 0 && j < grid.rows)) continue;
      std::array<std::array<float, kSide * kSide>, 3> p, c;
      std::array<int, 3> n{};
      for (int y = y0; y < std::min(y0 + kSide, r.y1); ++y)
        for (int x = x0; x < std::min(x0 + kSide, r.x1); ++x) {
          if (ignore.window().contains(x, y) && *ignore.at(x, y) > 0) continue;
          const float *a = plate.at(x, y), *b = still.at(x, y);
          if (still.channels() == 4 && b[3] < 0.999f) continue;
          for (int k = 0; k < 3; ++k)
            if (a[k] != 1 && b[k] > 1e-5f) p[k][n[k]] = a[k], c[k][n[k]++] = b[k];
        }
      const size_t node = 3 * (size_t(j) * grid.columns + size_t(i));
      bool any = false;
      for (int k = 0; k < 3; ++k) {
        const Ratio ratio = ratio_of(p[k], c[k], n[k]);
        sum[node + k] += ratio.weight * ratio.stops;
        seen.weight[node + k] += static_cast<float>(ratio.weight);
        any = any || ratio.weight > 0;
      }
      used += any;
    }
  for (size_t n = 0; n < sum.size(); ++n)
    if (seen.weight[n] > 0) seen.stops[n] = static_cast<float>(sum[n] / seen.weight[n]);
  seen.share = all ? double(used) / all : 0;
  return seen;
}

}  // namespace pw
