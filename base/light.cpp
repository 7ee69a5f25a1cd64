#include "base/light.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace pw {
namespace {

// Which four nodes along one axis, and their weights, for a place counted in nodes.
struct Along {
  std::array<int, 4> node;
  std::array<float, 4> weight;
};

Along along(double t, int count) {
  t = std::clamp(t, 0.0, count - 1.0);
  const int i = std::min(static_cast<int>(t), std::max(0, count - 2));
  const float u = static_cast<float>(t - i), u2 = u * u, u3 = u2 * u;
  Along a;
  for (int k = 0; k < 4; ++k) a.node[k] = std::clamp(i + k - 1, 0, count - 1);
  a.weight = {-0.5f * u3 + u2 - 0.5f * u, 1.5f * u3 - 2.5f * u2 + 1, -1.5f * u3 + 2 * u2 + 0.5f * u,
              0.5f * u3 - 0.5f * u2};
  return a;
}

}  // namespace

Light Light::grid(int width, int height, double cell_px) {
  Light l{width, height, cell_px, 0, 0, {}};
  l.columns = static_cast<int>(std::ceil(width / cell_px)) + 1;
  l.rows = static_cast<int>(std::ceil(height / cell_px)) + 1;
  return l;
}

const LightFrame* Light::find(int frame) const {
  const auto it =
      std::lower_bound(frames.begin(), frames.end(), frame, [](const LightFrame& f, int n) { return f.frame < n; });
  return it != frames.end() && it->frame == frame ? &*it : nullptr;
}

void Light::at(const LightFrame& f, double x, double y, std::span<float, 3> stops) const {
  const Along h = along(x / cell_px, columns), v = along(y / cell_px, rows);
  for (int k = 0; k < 3; ++k) {
    float sum = 0;
    for (int j = 0; j < 4; ++j) {
      const float* row = f.stops.data() + size_t{3} * v.node[j] * columns + k;
      float part = 0;
      for (int i = 0; i < 4; ++i) part += h.weight[i] * row[3 * h.node[i]];
      sum += v.weight[j] * part;
    }
    stops[k] = sum;
  }
}

}  // namespace pw
