#include "track/visibility.h"

#include <algorithm>
#include <cmath>

namespace pw {
namespace {

constexpr int kReach = 2;      // Evidence is gathered over 5 x 5 pixels.
constexpr float kCap = 16;     // More excess than this says nothing more.
constexpr float kSure = 2.2f;  // Mean squared residual, in variances, up to which a window is taken as visible...
constexpr float kGone = 4.5f;  // ...and from which it is not.
constexpr float kTukey = 12;   // Squared residual in variances from which a single pixel counts nothing (biweight).

float smooth_down(float x, float from, float to) {
  const float t = std::clamp((to - x) / (to - from), 0.f, 1.f);
  return t * t * (3 - 2 * t);
}

float sum3(f4 v) { return (v[0] + v[1]) + v[2]; }

// Value at a share of the sorted list; reorders it.
float quantile(std::vector<float>& values, double share) {
  const size_t at = std::min(values.size() - 1, size_t(share * values.size()));
  std::nth_element(values.begin(), values.begin() + at, values.end());
  return values[at];
}

}  // namespace

void find_middle(const VisibilityInput& in, const std::vector<Rect>& tiles, const Light& light, const Runner& runner,
                 Raster& middle, Raster* residual) {
  const Rect outer = in.reference->window(), window = outer.grown(-kHalo);
  // The mean of prediction and frame, with the light of the tile a pixel lies in (its nearest in the halo).
  runner.run(tiles.size(), [&](size_t t) {
    const LightVector l = light.of(t);
    const f4 gain{float(l[0]), float(l[2]), float(l[4]), 0}, offset{float(l[1]), float(l[3]), float(l[5]), 0};
    const Rect& r = tiles[t];
    const Rect reach{r.x0 == window.x0 ? outer.x0 : r.x0, r.y0 == window.y0 ? outer.y0 : r.y0,
                     r.x1 == window.x1 ? outer.x1 : r.x1, r.y1 == window.y1 ? outer.y1 : r.y1};
    const float cx = 0.5f * (r.x0 + r.x1), cy = 0.5f * (r.y0 + r.y1), sx = 2.f / r.width(), sy = 2.f / r.height();
    for (int y = reach.y0; y < reach.y1; ++y)
      for (int x = reach.x0; x < reach.x1; ++x) {
        const f4 ref = in.reference->at(x, y), frame = in.frame->at(x, y);
        const f4 slope = splat(float(l[6]) * (x + 0.5f - cx) * sx + float(l[7]) * (y + 0.5f - cy) * sy);
        const f4 prediction = (gain + slope) * ref + offset;
        f4 m = splat(0.5f) * (prediction + frame), r = frame - prediction;
        m[3] = ref[3] * frame[3];
        middle.at(x, y) = m;
        if (residual) residual->at(x, y) = r;
      }
  });
}

void find_visible(const VisibilityInput& in, const std::vector<Rect>& tiles, const Light& light, const Runner& runner,
                  Visibility& out) {
  const Rect outer = in.reference->window(), window = outer.grown(-kHalo);
  const int width = window.width(), height = window.height();
  const int64_t stride = outer.width();
  if (out.middle.window() != outer) out.middle = Raster(outer), out.weight = Raster(outer);
  out.excess.assign(size_t(width) * height, -1);
  std::vector<float> energy(size_t(width) * height, 0.f), square(size_t(width) * height, 0.f);

  find_middle(in, tiles, light, runner, out.middle, &out.weight);  // The residual, until the weights take its place.
  const float per_channel = 1.f / in.channels;
  const float variance = float(in.sigma * in.sigma), per_gradient = float(in.position_px * in.position_px);
  const int bands = (height + 15) / 16;
  runner.run(bands, [&](size_t b) {
    for (int y = window.y0 + int(b) * 16; y < std::min(window.y1, window.y0 + int(b) * 16 + 16); ++y) {
      const f4 *m = &out.middle.at(window.x0, y), *slope = &in.slope->at(window.x0, y);
      const f4* r = &out.weight.at(window.x0, y);
      const size_t row = size_t(y - window.y0) * width;
      for (int i = 0; i < width; ++i, ++m) {
        if (!(in.mask[row + i] > 0)) continue;
        const bool whole = m[0][3] > 0 && m[2][3] > 0 && m[-2][3] > 0 && m[2 * stride][3] > 0 && m[-2 * stride][3] > 0;
        if (!whole) continue;
        const f4 gx = splat(0.5f) * (m[1] - m[-1]) * slope[i], gy = splat(0.5f) * (m[stride] - m[-stride]) * slope[i];
        const f4 e = r[i] * slope[i];
        energy[row + i] = sum3(gx * gx + gy * gy) * per_channel;
        square[row + i] = sum3(e * e) * per_channel;
        out.excess[row + i] = square[row + i] / (variance + per_gradient * energy[row + i]);
      }
    }
  });

  // The scale: the best quarter of the tiles shows what the plane itself leaves.
  std::vector<float> medians, values;
  for (const Rect& t : tiles) {
    values.clear();
    for (int y = t.y0; y < t.y1; ++y)
      for (int x = t.x0; x < t.x1; ++x)
        if (const float e = out.excess[size_t(y - window.y0) * width + (x - window.x0)]; e >= 0) values.push_back(e);
    if (values.size() >= 8) medians.push_back(quantile(values, 0.5));
  }
  const float expected = in.channels == 1 ? 0.455f : in.channels == 2 ? 0.693f : 0.789f;  // Median of chi^2_n / n.
  out.inflation = medians.empty() ? 1 : std::clamp(quantile(medians, 0.25) / expected, 1.f, 25.f);
  const float shrink = float(1 / out.inflation);

  // Means over the window of evidence, along rows, then down columns.
  std::vector<float> sums(size_t(width) * height), counts(size_t(width) * height);
  runner.run(bands, [&](size_t b) {
    for (int y = int(b) * 16; y < std::min(height, int(b) * 16 + 16); ++y)
      for (int x = 0; x < width; ++x) {
        float sum = 0, count = 0;
        for (int k = std::max(0, x - kReach); k <= std::min(width - 1, x + kReach); ++k)
          if (const float e = out.excess[size_t(y) * width + k]; e >= 0) sum += std::min(e * shrink, kCap), ++count;
        sums[size_t(y) * width + x] = sum, counts[size_t(y) * width + x] = count;
      }
  });
  struct Totals {
    double mask = 0, seen = 0, texture = 0, visible = 0, squares = 0, weight = 0;
  };
  std::vector<Totals> totals(bands);
  runner.run(bands, [&](size_t b) {
    Totals& total = totals[b];
    for (int y = int(b) * 16; y < std::min(height, int(b) * 16 + 16); ++y) {
      f4* w = &out.weight.at(window.x0, window.y0 + y);
      const f4* slope = &in.slope->at(window.x0, window.y0 + y);
      for (int x = 0; x < width; ++x) {
        const size_t i = size_t(y) * width + x;
        const float e = out.excess[i] * shrink, mask = in.mask[i];
        total.mask += mask;
        if (!(e >= 0)) {
          w[x] = splat(0);
          continue;
        }
        float sum = 0, count = 0;
        for (int k = std::max(0, y - kReach); k <= std::min(height - 1, y + kReach); ++k)
          sum += sums[size_t(k) * width + x], count += counts[size_t(k) * width + x];
        const float near = smooth_down(sum / count, kSure, kGone);
        const float own = std::max(0.f, 1 - e / kTukey);
        const float robust = mask * near * own * own;
        total.seen += mask;
        total.texture += mask * energy[i];
        total.visible += mask * near * energy[i];
        total.squares += robust * square[i];
        total.weight += robust;
        w[x] = slope[x] * slope[x] * splat(robust / (variance + per_gradient * energy[i]));
        for (int c = in.channels; c < 3; ++c) w[x][c] = 0;
        w[x][3] = robust;
      }
    }
  });
  Totals all;
  for (const Totals& t : totals)
    all.mask += t.mask, all.seen += t.seen, all.texture += t.texture, all.visible += t.visible,
        all.squares += t.squares, all.weight += t.weight;
  out.seen = all.mask > 0 ? all.seen / all.mask : 0;
  out.visible = all.texture > 0 ? all.visible / all.texture : 0;
  out.residual = all.weight > 0 ? std::sqrt(all.squares / all.weight) : 0;
}

}  // namespace pw
