#include "warp/sampler.h"

#include <algorithm>
#include <cmath>

#include "warp/area.h"
#include "warp/interpolate.h"

namespace pw {
namespace {

// A footprint's longer side is kept below this by halving the source more often than its shorter side asks for.
constexpr float kLongest = 128;
// Halved so often that the shorter side spans at least this many cells: what halving dulls lies beyond the kernel then.
constexpr float kCells = 4;
// Positions beyond this are as good as infinitely far away, and are brought here so that they fit an int.
constexpr double kFar = 1e8;

// Square of the larger singular value of each place's derivative.
void shrinks(const Places& p, float* squared) {
  for (int i = 0; i < p.count; ++i) {
    const float a = p.xx[i] * p.xx[i] + p.xy[i] * p.xy[i], c = p.yx[i] * p.yx[i] + p.yy[i] * p.yy[i];
    const float b = p.xx[i] * p.yx[i] + p.xy[i] * p.yy[i];
    const float half = (a - c) / 2;
    squared[i] = (a + c) / 2 + std::sqrt(half * half + b * b);
  }
}

}  // namespace

Sampler::Sampler(const Picture& source, const ResampleOptions& options)
    : filter_(options.filter), limit_(options.limit_ringing) {
  levels_.push_back({source, options.source_window.value_or(source.window()), options.edge});
}

const Level& Sampler::level(int times) {
  while (static_cast<int>(levels_.size()) <= times) levels_.push_back(halved(levels_.back()));
  return levels_[times];
}

void Sampler::sample(const Places& p, float* out) {
  alignas(64) int x[Places::kRun], y[Places::kRun];
  alignas(64) float tx[Places::kRun], ty[Places::kRun], squared[Places::kRun];
  for (int i = 0; i < p.count; ++i) {
    const double u = std::min(std::max(p.x[i] - 0.5, -kFar), kFar), v = std::min(std::max(p.y[i] - 0.5, -kFar), kFar);
    const double fu = std::floor(u), fv = std::floor(v);
    x[i] = static_cast<int>(fu), y[i] = static_cast<int>(fv);
    tx[i] = static_cast<float>(u - fu), ty[i] = static_cast<float>(v - fv);
  }
  const int channels = this->channels();
  interpolator(filter_, channels, limit_)(levels_[0], p.count, x, y, tx, ty, out);
  shrinks(p, squared);
  for (int i = 0; i < p.count; ++i) {
    if (!(p.x[i] == p.x[i]))
      std::fill_n(out + i * channels, channels, 0.f);
    else if (!(squared[i] <= kShrinkStart * kShrinkStart))
      sample_shrunk(p, i, out + i * channels);
  }
}

void Sampler::sample_shrunk(const Places& p, int i, float* out) {
  const int channels = this->channels();
  std::fill_n(out, channels, 0.f);
  const Footprint f = footprint(p.xx[i], p.xy[i], p.yx[i], p.yy[i]);
  // So much smaller, or so far away, that the position itself means nothing any more: beyond the horizon.
  if (!(f.longest < 1e6f) || !(std::abs(p.x[i]) < kFar) || !(std::abs(p.y[i]) < kFar)) return;
  int times = 0;
  while (f.shortest / static_cast<float>(2 << times) >= kCells || f.longest / static_cast<float>(1 << times) > kLongest)
    ++times;
  const double scale = 1.0 / (1 << times);
  const Level& source = level(times);
  const Footprint g = halved(f, times);
  if (source.edge == Edge::clear) {
    const double radius = taps(filter_) / 2.0;
    const double rx = radius * (g.xx + std::abs(g.xy)) + 1, ry = radius * (g.yy + std::abs(g.xy)) + 1;
    const Rect w = source.picture.window();
    const double x = p.x[i] * scale, y = p.y[i] * scale;
    if (x + rx < w.x0 || x - rx > w.x1 || y + ry < w.y0 || y - ry > w.y1) return;
  }
  sample_area(source, filter_, limit_, p.x[i] * scale, p.y[i] * scale, g, out);
}

}  // namespace pw
