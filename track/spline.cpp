#include "track/spline.h"

#include <cmath>

namespace pw {
namespace {

constexpr float kPole = -0.267949192f;  // sqrt 3 - 2
constexpr int kHorizon = 16;            // |pole|^16 is below float's resolution.

// In place along one line of n values `step` apart, for `lanes` neighbouring lines at once.
void filter(f4* line, int n, int64_t step, int lanes) {
  if (n < 2) return;
  const f4 pole = splat(kPole), gain = splat(6);
  for (int l = 0; l < lanes; ++l) {
    f4 sum = splat(0);
    float power = 1;
    for (int i = 0; i < kHorizon; ++i) {
      const int period = 2 * n - 2, at = i % period;  // Mirrored at the first and last pixel's centre.
      sum += splat(power) * line[(at < n ? at : period - at) * step + l];
      power *= kPole;
    }
    line[l] = gain * sum;
  }
  for (int i = 1; i < n; ++i)
    for (int l = 0; l < lanes; ++l) line[i * step + l] = gain * line[i * step + l] + pole * line[(i - 1) * step + l];
  const f4 end = splat(kPole / (kPole * kPole - 1));
  for (int l = 0; l < lanes; ++l)
    line[(n - 1) * step + l] = end * (line[(n - 1) * step + l] + pole * line[(n - 2) * step + l]);
  for (int i = n - 2; i >= 0; --i)
    for (int l = 0; l < lanes; ++l) line[i * step + l] = pole * (line[(i + 1) * step + l] - line[i * step + l]);
}

}  // namespace

void to_spline(Raster& r) {
  const Rect w = r.window();
  if (w.empty()) return;
  for (int y = w.y0; y < w.y1; ++y) filter(r.row(y), w.width(), 1, 1);
  const int lanes = 16;
  for (int x = 0; x < w.width(); x += lanes)
    filter(r.row(w.y0) + x, w.height(), w.width(), std::min(lanes, w.width() - x));
}

}  // namespace pw
