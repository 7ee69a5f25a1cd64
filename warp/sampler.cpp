#include "warp/sampler.h"

#include <algorithm>
#include <cmath>

#include "warp/area.h"
#include "warp/interpolate.h"
#include "warp/lanes.h"

namespace pw {
namespace {

// A footprint's longer side is kept below this by halving the source more often than its shorter side asks for.
constexpr float kLongest = 128;
// Halved so often that the shorter side spans at least this many cells: what halving dulls lies beyond the kernel then.
constexpr float kCells = 4;
// Positions beyond this are as good as infinitely far away, and are brought here so that they fit an int.
constexpr double kFar = 1e8;

// The pixel whose centre lies left of (above) each position, and how far. Works in steps of four; the arrays are that
// long.
void split(const double* position, int count, int* whole, float* part) {
  const d4 far = {kFar, kFar, kFar, kFar};
  for (int i = 0; i < count; i += 4) {
    d4 u;
    std::memcpy(&u, position + i, sizeof u);
    u = u - 0.5;
    u = u > -far ? u : -far;  // Also what is not a number.
    u = u < far ? u : far;
    i4 n = __builtin_convertvector(u, i4);
    const d4 above = __builtin_convertvector(n, d4) > u ? d4{1, 1, 1, 1} : d4{};
    const d4 floor = __builtin_convertvector(n, d4) - above;
    n = __builtin_convertvector(floor, i4);
    const f4 t = __builtin_convertvector(u - floor, f4);
    std::memcpy(whole + i, &n, sizeof n);
    std::memcpy(part + i, &t, sizeof t);
  }
}

// Where the larger singular value of a place's derivative is more than kShrinkStart; how many of them there are.
int find_shrunk(const Places& p, int* shrunk) {
  constexpr float kSquare = kShrinkStart * kShrinkStart;
  int all = 0;
  for (int i = 0; i < p.count; ++i) {
    const float a = p.xx[i] * p.xx[i] + p.xy[i] * p.xy[i], c = p.yx[i] * p.yx[i] + p.yy[i] * p.yy[i];
    const float b = p.xx[i] * p.yx[i] + p.xy[i] * p.yy[i];
    // Its square is mean + sqrt(half^2 + b^2).
    const float room = kSquare - (a + c) * 0.5f, half = (a - c) * 0.5f;
    const int plain = int(room >= 0) & int(half * half + b * b <= room * room);
    shrunk[i] = plain ^ 1;
    all += plain ^ 1;
  }
  return all;
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
  alignas(64) int x[Places::kRun], y[Places::kRun], shrunk[Places::kRun];
  alignas(64) float tx[Places::kRun], ty[Places::kRun];
  split(p.x, p.count, x, tx);
  split(p.y, p.count, y, ty);
  const int channels = this->channels();
  // Derivatives of what lies behind may be anything; those places are cleared in any case.
  const int any_shrunk = find_shrunk(p, shrunk);
  if (any_shrunk < p.count) interpolator(filter_, channels, limit_)(levels_[0], p.count, x, y, tx, ty, out);
  for (int i = 0; i < p.count; ++i) {
    if (!(p.x[i] == p.x[i]))
      std::fill_n(out + i * channels, channels, 0.f);
    else if (any_shrunk && shrunk[i])
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
  const Footprint g = times == 0 ? f : footprint(p.xx[i], p.xy[i], p.yx[i], p.yy[i], times);
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
