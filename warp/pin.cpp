#include "warp/pin.h"

#include <Eigen/LU>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <set>

#include "warp/pin_path.h"
#include "warp/sampler.h"
#include "warp/smear.h"

namespace pw {
namespace {

constexpr int kCell = 64;          // Distance of the points where smear is worked out; divides Places::kRun.
constexpr int kMost = 1025;        // Samples; paths longer than 512 pixels are taken more coarsely.
constexpr double kNoSmear = 0.02;  // A path shorter than this is a point, pixels.

// Samples for a path: two or more per pixel, from few sizes, so that neighbouring cells mostly have the same.
int samples(double way) {
  if (!(way > kNoSmear)) return 1;
  for (int n : {3, 5, 7, 9, 13, 17, 25, 33, 49, 65, 97, 129, 193, 257, 385, 513, 769})
    if (n >= 2 * way + 1) return n;
  return kMost;
}

int cell_of(int x) { return x >= 0 ? x / kCell : -((kCell - 1 - x) / kCell); }

struct Cell {
  int count = 1;                              // Samples.
  std::array<std::vector<float>, 4> weights;  // At its corners, in reading order.
  bool plain() const {                        // Only the middle sample counts.
    return std::all_of(weights.begin(), weights.end(), [this](const auto& w) { return w[count / 2] == 1; });
  }
};

class Cells {
 public:
  explicit Cells(const PinPath& path) : path_(path) {}

  int count(int cx, int cy) {
    int n = 1;
    for (int k = 0; k < 4; ++k) n = std::max(n, samples(corner(cx + (k & 1), cy + (k >> 1)).way));
    return n;
  }
  Cell at(int cx, int cy) {
    Cell c;
    c.count = count(cx, cy);
    for (int k = 0; k < 4; ++k) {
      const int x = cx + (k & 1), y = cy + (k >> 1);
      std::vector<float>& w = weights_[{x, y, c.count}];
      if (w.empty()) w = smear_weights(corner(x, y).wanted, corner(x, y).present, c.count);
      c.weights[k] = w;
    }
    return c;
  }

 private:
  PinPath::Smear corner(int x, int y) {
    const auto [it, fresh] = known_.try_emplace({x, y});
    if (fresh) it->second = path_.smear(Point(double(x) * kCell, double(y) * kCell));
    return it->second;
  }
  const PinPath& path_;
  std::map<std::pair<int, int>, PinPath::Smear> known_;
  std::map<std::array<int, 3>, std::vector<float>> weights_;  // For a corner and a number of samples.
};

// The moments at which a cell is looked at.
struct Moments {
  std::vector<Matrix3> straight;
  std::vector<Bend> bent;
  Moments(const PinPath& path, int count) {
    if (path.bent())
      bent = path.bends(count);
    else
      straight = path.moments(count);
  }
  void find(int moment, int x0, int y, int count, Places& places) {
    if (bent.empty())
      find_places(straight[moment], x0, y, count, places);
    else
      bent[moment].find_places(x0, y, count, places);
  }
};

// One row of one cell: the weighted mean of the samples, weights between the corners' by position. Between the lowest
// and the highest of them whatever the rounding, so that a constant stays one.
void smear_row(Sampler& sampler, const Cell& cell, Moments& moments, int x0, int y, int count, float* out) {
  const int channels = sampler.channels(), n = count * channels;
  float value[kCell * 4], share[kCell * 4], low[kCell * 4], high[kCell * 4];
  Places places;
  std::fill_n(out, n, 0.f);
  std::fill_n(low, n, std::numeric_limits<float>::infinity());
  std::fill_n(high, n, -std::numeric_limits<float>::infinity());
  const float fy = (static_cast<float>(y - cell_of(y) * kCell) + 0.5f) / kCell;
  for (int s = 0; s < cell.count; ++s) {
    const auto& w = cell.weights;
    const float left = w[0][s] + fy * (w[2][s] - w[0][s]), right = w[1][s] + fy * (w[3][s] - w[1][s]);
    if (left == 0 && right == 0) continue;
    moments.find(s, x0, y, count, places);
    sampler.sample(places, value);
    for (int i = 0; i < count; ++i) {
      const float fx = (static_cast<float>(x0 + i - cell_of(x0) * kCell) + 0.5f) / kCell;
      std::fill_n(share + i * channels, channels, left + fx * (right - left));
    }
    for (int k = 0; k < n; ++k) {
      out[k] += share[k] * value[k];
      low[k] = std::min(low[k], value[k]);
      high[k] = std::max(high[k], value[k]);
    }
  }
  for (int k = 0; k < n; ++k) out[k] = std::min(std::max(out[k], low[k]), high[k]);
}

}  // namespace

std::optional<Picture> pin(const Picture& still, const Pin& pin, const Rect& out) {
  const auto path = PinPath::make(pin);
  if (!path) return std::nullopt;
  if (still.empty() || out.empty()) return Canvas::clear(out, still.channels()).finish();
  Cells cells(*path);
  std::map<int, Moments> moments;
  Canvas canvas(out, still.channels());
  Sampler sampler(still, pin.options);
  // Bits are kept where nothing moves and nothing is to be smeared.
  const bool still_there = path->bent() ? path->own() : whole_shift(path->frame_from_still()).has_value();
  const bool shift = still_there && interpolates(pin.options.filter);
  for (int cy = cell_of(out.y0); cy <= cell_of(out.y1 - 1); ++cy)
    for (int cx = cell_of(out.x0); cx <= cell_of(out.x1 - 1); ++cx) {
      const Rect r = intersect(out, Rect::sized(kCell, kCell).moved(cx * kCell, cy * kCell));
      const Cell cell = cells.at(cx, cy);
      if (shift && cell.plain()) {
        const Picture part = resample(still, path->frame_from_still(), r, pin.options);
        for (int y = r.y0; y < r.y1; ++y) std::copy_n(part.row(y), r.width() * part.channels(), canvas.at(r.x0, y));
        continue;
      }
      Moments& list = moments.try_emplace(cell.count, *path, cell.count).first->second;
      for (int y = r.y0; y < r.y1; ++y) smear_row(sampler, cell, list, r.x0, y, r.width(), canvas.at(r.x0, y));
    }
  return std::move(canvas).finish();
}

Rect pin_reach(const Pin& pin, const Rect& out, const Rect& still_window) {
  const auto path = PinPath::make(pin);
  if (!path || out.empty()) return {};
  std::set<int> counts;
  Cells cells(*path);
  for (int cy = cell_of(out.y0); cy <= cell_of(out.y1 - 1); ++cy)
    for (int cx = cell_of(out.x0); cx <= cell_of(out.x1 - 1); ++cx) counts.insert(cells.count(cx, cy));
  Rect all = source_reach(path->frame_from_still(), out, still_window, pin.options);
  for (int count : counts) {
    Moments list(*path, count);
    for (const Matrix3& h : list.straight) all = unite(all, source_reach(h.inverse(), out, still_window, pin.options));
    for (Bend& bend : list.bent) all = unite(all, bend.reach(out, still_window, pin.options));
  }
  return all;
}

}  // namespace pw
