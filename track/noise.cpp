#include "track/noise.h"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "track/align.h"

namespace pw {
namespace {
constexpr int kBlocks = 250, kBlock = 16, kPoints = kBlock / 2;
}

double noise_sigma(const Picture& p) {
  const Rect w = p.window().grown(-1);
  const int channels = std::min(3, p.channels());
  // Some hundred blocks tell enough; those of every row begin elsewhere.
  const int every = std::max<int>(1, int(w.area() / (kBlock * kBlock * kBlocks)));
  std::vector<double> levels;
  for (int y0 = w.y0, row = 0; y0 + kBlock <= w.y1; y0 += kBlock, ++row)
    for (int x0 = w.x0 + row * 7 % every * kBlock; x0 + kBlock <= w.x1; x0 += every * kBlock) {
      // Side by side first, so that what they are divided by is found for many at a time.
      float off[kPoints * kPoints * 3], slope[kPoints * kPoints * 3];
      int count = 0;
      for (int y = y0; y < y0 + kBlock; y += 2)
        for (int x = x0; x < x0 + kBlock; x += 2)
          for (int c = 0; c < channels; ++c, ++count) {
            const float *a = p.at(x - 1, y - 1) + c, *b = p.at(x - 1, y) + c, *d = p.at(x - 1, y + 1) + c;
            const int s = p.channels();
            off[count] = a[0] - 2 * a[s] + a[2 * s] - 2 * b[0] + 4 * b[s] - 2 * b[2 * s] + d[0] - 2 * d[s] + d[2 * s];
            slope[count] = b[s];
          }
      to_code_slopes({slope, size_t(count)});
      double sum = 0;
      for (int i = 0; i < count; ++i) {
        const float e = off[i] * slope[i];
        sum += e * e;
      }
      levels.push_back(std::sqrt(sum / count) / 6);
    }
  if (levels.empty()) return 1 / 255.0;
  const auto at = levels.begin() + levels.size() / 5;
  std::nth_element(levels.begin(), at, levels.end());
  return *at;
}

double noise_in_gradients(const Picture& p, const Rect& box, std::span<const float> mask, double sigma) {
  const Rect inside = intersect(box, p.window().grown(-1));
  const int channels = std::min(3, p.channels());
  std::vector<float> off, slope;
  double squares = 0, count = 0;
  for (int y = inside.y0; y < inside.y1; ++y) {
    off.clear(), slope.clear();
    const auto shown = mask.subspan(size_t(y - box.y0) * size_t(box.width()));
    for (int x = inside.x0; x < inside.x1; ++x)
      for (int c = 0; c < channels && shown[size_t(x - box.x0)] > 0; ++c)
        for (const auto& [a, b] :
             {std::pair(p.at(x - 1, y), p.at(x + 1, y)), std::pair(p.at(x, y - 1), p.at(x, y + 1))})
          off.push_back(0.5f * (b[c] - a[c])), slope.push_back(p.at(x, y)[c]);
    to_code_slopes(slope);
    for (size_t i = 0; i < off.size(); ++i) squares += double(off[i] * slope[i]) * double(off[i] * slope[i]);
    count += double(off.size());
  }
  return squares > 0 ? std::min(1.0, 0.5 * sigma * sigma * count / squares) : 1;
}

}  // namespace pw
