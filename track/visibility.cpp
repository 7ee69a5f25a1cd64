#include "track/visibility.h"

#include <algorithm>
#include <cmath>

#include "warp/lanes.h"

namespace pw {
namespace {

constexpr int kReach = 2;           // Evidence is gathered over 5 x 5 pixels.
constexpr float kCap = 16;          // More excess than this says nothing more.
constexpr float kSure = 2.2f;       // Mean squared residual, in variances, up to which a window is taken as visible...
constexpr float kGone = 4.5f;       // ...and from which it is not.
constexpr float kStrong = 4;        // Texture, in that of the middle pixel, that counts most.
constexpr size_t kManyTiles = 128;  // Of so many some pixels tell enough.
constexpr float kTukey = 12;  // Squared residual in variances from which a single pixel counts nothing (biweight).

f8 smooth_down(f8 x, float from, float to) {
  const f8 t = max(min((splat8(to) - x) * splat8(1 / (to - from)), splat8(1)), splat8(0));
  return t * t * (splat8(3) - splat8(2) * t);
}

float sum8(f8 v) { return ((v[0] + v[1]) + (v[2] + v[3])) + ((v[4] + v[5]) + (v[6] + v[7])); }

// One number for each pixel of a window, eight at a time, with room for kReach more on every side.
class Plane {
 public:
  Plane(float* data, int width) : data_(data), pitch_(pitch(width)) {}
  static int pitch(int width) { return (width + 7) / 8 * 8 + 8; }
  static int64_t size(int width, int height) { return int64_t{pitch(width)} * (height + 2 * kReach); }
  float* row(int y) { return data_ + int64_t{y + kReach} * pitch_ + 4; }

 private:
  float* data_;
  int pitch_;
};

// The larger of the differences to both neighbours: at the top of a wave the mean of both is 0, and yet a small shift
// changes what is seen there.
f4 steeper(f4 before, f4 here, f4 after) {
  f4 a = here - before, b = after - here;
  a = a < splat(0) ? -a : a, b = b < splat(0) ? -b : b;
  return a > b ? a : b;
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
  // The middle of prediction and frame, with the light of the tile a pixel lies in (its nearest in the halo).
  runner.run(tiles.size(), [&](size_t t) {
    const LightVector l = light.of(t);
    const f4 gain{float(l[0]), float(l[2]), float(l[4]), 0}, offset{float(l[1]), float(l[3]), float(l[5]), 0};
    const Rect& r = tiles[t];
    const Rect reach{r.x0 == window.x0 ? outer.x0 : r.x0, r.y0 == window.y0 ? outer.y0 : r.y0,
                     r.x1 == window.x1 ? outer.x1 : r.x1, r.y1 == window.y1 ? outer.y1 : r.y1};
    const float cx = 0.5f * (r.x0 + r.x1), cy = 0.5f * (r.y0 + r.y1), sx = 2.f / r.width(), sy = 2.f / r.height();
    for (int y = reach.y0; y < reach.y1; ++y) {
      const f4 *ref = &in.reference->at(reach.x0, y), *frame = &in.frame->at(reach.x0, y);
      f4 *out = &middle.at(reach.x0, y), *off = residual ? &residual->at(reach.x0, y) : nullptr;
      const float slope_y = float(l[7]) * (y + 0.5f - cy) * sy, slope_x = float(l[6]) * sx;
      for (int i = 0; i < reach.width(); ++i) {
        const f4 slope = splat(slope_x * (reach.x0 + i + 0.5f - cx) + slope_y);
        const f4 prediction = (gain + slope) * ref[i] + offset;
        f4 m = splat(1 - in.share) * prediction + splat(in.share) * frame[i];
        m[3] = ref[i][3] * frame[i][3];
        out[i] = m;
        if (off) off[i] = frame[i] - prediction;
      }
    }
  });
}

void find_visible(const VisibilityInput& in, const std::vector<Rect>& tiles, const Light& light, const Runner& runner,
                  Visibility& out) {
  const Rect outer = in.reference->window(), window = outer.grown(-kHalo);
  const int width = window.width(), height = window.height();
  const int64_t stride = outer.width(), plane = Plane::size(width, height);
  if (out.middle.window() != outer) {
    out.middle = Raster(outer), out.weight = Raster(outer);
    out.scratch = Raster({0, 0, Plane::pitch(width), 2 * (height + 2 * kReach)});
    auto* all_planes = reinterpret_cast<float*>(out.scratch.row(0));
    std::fill_n(all_planes, plane, -1.f);             // Beyond the window nothing is known: no excess,
    std::fill_n(all_planes + plane, 5 * plane, 0.f);  // and nothing to be counted.
  }
  auto* scratch = reinterpret_cast<float*>(out.scratch.row(0));
  Plane excess(scratch, width), energy(scratch + plane, width), square(scratch + 2 * plane, width);
  Plane share(scratch + 3 * plane, width), sums(scratch + 4 * plane, width), counts(scratch + 5 * plane, width);

  find_middle(in, tiles, light, runner, out.middle, &out.weight);  // The residual, until the weights take its place.
  const float per_channel = 1.f / in.channels;
  const float variance = float(in.sigma * in.sigma), per_gradient = float(in.position_px * in.position_px);
  const int bands = (height + 15) / 16;
  const auto rows = [&](const auto& row) {
    runner.run(bands, [&](size_t b) {
      for (int y = int(b) * 16; y < std::min(height, int(b) * 16 + 16); ++y) row(y, b);
    });
  };
  rows([&](int y, size_t) {
    const f4 *m = &out.middle.at(window.x0, window.y0 + y), *slope = &in.slope->at(window.x0, window.y0 + y);
    const f4* r = &out.weight.at(window.x0, window.y0 + y);
    float *mask = share.row(y), *x = excess.row(y), *e = energy.row(y), *s = square.row(y);
    std::copy_n(in.mask + size_t(y) * width, width, mask);
    for (int i = 0; i < width; ++i, ++m) {
      x[i] = -1, e[i] = s[i] = 0;
      if (!(mask[i] > 0 && m[0][3] * m[2][3] * m[-2][3] * m[2 * stride][3] * m[-2 * stride][3] > 0)) continue;
      const f4 gx = steeper(m[-1], m[0], m[1]) * slope[i], gy = steeper(m[-stride], m[0], m[stride]) * slope[i];
      const f4 residual = r[i] * slope[i];
      const float steep = sum3(gx * gx + gy * gy) * per_channel, off = sum3(residual * residual) * per_channel;
      const float much = off / (variance + per_gradient * steep);
      if (much >= 0) x[i] = much, e[i] = steep, s[i] = off;
    }
  });

  // The scale: the best quarter of the tiles shows what the plane itself leaves. Of large tiles every other row tells
  // it, of many tiles every other column, too.
  const bool many = tiles.size() >= kManyTiles;
  std::vector<float> medians, values;
  for (const Rect& t : tiles) {
    values.clear();
    const int down = t.height() < 16 ? 1 : 2, across = many ? down : 1;
    for (int y = t.y0; y < t.y1; y += down) {
      const float* row = excess.row(y - window.y0) + (t.x0 - window.x0);
      for (int i = 0; i < t.width(); i += across)
        if (row[i] >= 0) values.push_back(row[i]);
    }
    if (values.size() >= 8) medians.push_back(quantile(values, 0.5));
  }
  const float expected = in.channels == 1 ? 0.455f : in.channels == 2 ? 0.693f : 0.789f;  // Median of chi^2_n / n.
  out.inflation = medians.empty() ? 1 : std::clamp(quantile(medians, 0.25) / expected, 1.f, 25.f);
  const f8 shrink = splat8(float(1 / out.inflation)), none = splat8(0), one = splat8(1);

  // Means over the window of evidence, along rows, then down columns.
  rows([&](int y, size_t) {
    const float* x = excess.row(y);
    float *sum_row = sums.row(y), *count_row = counts.row(y);
    for (int i = 0; i < width; i += 8) {
      f8 sum = none, count = none;
      for (int k = i - kReach; k <= i + kReach; ++k) {
        const f8 e = load8(x + k);
        sum += e >= none ? min(e * shrink, splat8(kCap)) : none, count += e >= none ? one : none;
      }
      store8(sum_row + i, sum), store8(count_row + i, count);
    }
  });
  // Texture counts for no more than a few times what most of the region has: what passes in front may have much more.
  values.clear();
  const int step = int64_t{width} * height < 10000 ? 1 : many ? 4 : 2;
  for (int y = 0; y < height; y += step)
    for (int i = 0; i < width; i += step)
      if (excess.row(y)[i] >= 0) values.push_back(energy.row(y)[i]);
  const f8 strong = splat8(values.empty() ? 0 : kStrong * quantile(values, 0.5));
  struct Totals {
    double mask = 0, seen = 0, texture = 0, visible = 0, squares = 0, weight = 0, response = 0;
  };
  std::vector<Totals> totals(bands);
  const f4 channels{1, in.channels > 1 ? 1.f : 0.f, in.channels > 2 ? 1.f : 0.f, 0};
  rows([&](int y, size_t b) {
    const float *x = excess.row(y), *m = share.row(y);
    float *e = energy.row(y), *s = square.row(y);
    f8 mask = none, seen = none, texture = none, visible = none, squares = none, weight = none, response = none;
    for (int i = 0; i < width; i += 8) {
      f8 sum = none, count = none;
      for (int k = y - kReach; k <= y + kReach; ++k) sum += load8(sums.row(k) + i), count += load8(counts.row(k) + i);
      const f8 much = load8(x + i), part = much >= none ? load8(m + i) : none, steep = load8(e + i);
      const f8 near = smooth_down(sum / max(count, one), kSure, kGone);
      const f8 own = max(none, one - much * shrink * splat8(1 / kTukey));
      const f8 shown = part * near, robust = shown * own * own;
      const f8 telling = min(steep, strong);
      mask += load8(m + i), seen += part, texture += part * telling, visible += shown * telling;
      squares += robust * load8(s + i), weight += robust;
      response += shown * own * (own - splat8(4 * per_channel) * (one - own));
      // They are not needed any more: the weights take their place.
      store8(e + i, robust / (splat8(variance) + splat8(per_gradient) * steep)), store8(s + i, robust);
    }
    Totals& total = totals[b];
    total.mask += sum8(mask), total.seen += sum8(seen), total.texture += sum8(texture);
    total.visible += sum8(visible), total.squares += sum8(squares), total.weight += sum8(weight);
    total.response += sum8(response);
    f4* w = &out.weight.at(window.x0, window.y0 + y);
    const f4* slope = &in.slope->at(window.x0, window.y0 + y);
    for (int i = 0; i < width; ++i) {
      w[i] = slope[i] * slope[i] * channels * splat(e[i]);
      w[i][3] = s[i];
    }
  });
  Totals all;
  for (const Totals& t : totals)
    all.mask += t.mask, all.seen += t.seen, all.texture += t.texture, all.visible += t.visible,
        all.squares += t.squares, all.weight += t.weight, all.response += t.response;
  out.seen = all.mask > 0 ? all.seen / all.mask : 0;
  out.visible = all.texture > 0 ? all.visible / all.texture : 0;
  out.response = all.weight > 0 ? std::clamp(all.response / all.weight, 0.2, 1.0) : 1;
  out.residual = all.weight > 0 ? std::sqrt(all.squares / all.weight) : 0;
}

double agreement(const VisibilityInput& in, const std::vector<Rect>& tiles, const Light& light, const Runner& runner) {
  const Rect window = in.reference->window().grown(-kHalo);
  struct Sums {
    double texture = 0, agrees = 0;
  };
  std::vector<Sums> sums(tiles.size());
  runner.run(tiles.size(), [&](size_t t) {
    const LightVector l = light.of(t);
    const f4 gain{float(l[0]), float(l[2]), float(l[4]), 0};
    const Rect& r = tiles[t];
    f4 a = splat(0), b = splat(0), aa = splat(0), bb = splat(0), ab = splat(0), slopes = splat(0);
    float count = 0;
    for (int y = r.y0; y < r.y1; ++y)
      for (int x = r.x0; x < r.x1; ++x) {
        if (!(in.mask[size_t(y - window.y0) * window.width() + (x - window.x0)] > 0)) continue;
        const f4 p = in.reference->at(x, y), f = in.frame->at(x, y);
        if (!(p[3] * f[3] > 0)) continue;
        const f4 g = gain * p;
        a += g, b += f, aa += g * g, bb += f * f, ab += g * f, slopes += in.slope->at(x, y), ++count;
      }
    if (count < 16) return;
    const f4 n = splat(1 / count);
    a *= n, b *= n, slopes *= n;
    const f4 code = slopes * slopes, va = (aa * n - a * a) * code, vb = (bb * n - b * b) * code;
    const f4 cov = (ab * n - a * b) * code;
    // Half of the difference's noise is in each picture.
    const float noise = float(0.5 * in.sigma * in.sigma * in.channels), all_a = sum3(va), all_b = sum3(vb);
    const float own = std::max(0.7f * all_a, all_a - noise), other = std::max(0.7f * all_b, all_b - noise);
    if (!(own > 0 && other > 0)) return;
    sums[t] = {double(count) * own, double(count) * own * std::min(1.f, sum3(cov) / std::sqrt(own * other))};
  });
  Sums all;
  for (const Sums& s : sums) all.texture += s.texture, all.agrees += s.agrees;
  return all.texture > 0 ? all.agrees / all.texture : 0;
}

}  // namespace pw
