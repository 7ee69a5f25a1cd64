#include "comp/weather/rainfall.h"

#include <algorithm>
#include <cmath>

#include "base/elementary.h"
#include "base/random.h"
#include "comp/weather/drops.h"

namespace pw {
namespace {

constexpr double kDeeper = 1.25;   // A layer's far end against its near end.
constexpr double kInCell = 8;      // Drops of the heaviest rain, on average.
constexpr double kFastest = 9.65;  // m/s
constexpr double kStray = 0.05;
constexpr uint32_t kOwn = 0, kPlace = 1, kCount = 2;  // Lanes of random numbers.

// A Poisson number with mean kInCell.
int how_many(uint32_t bits) {
  const double u = (bits + 0.5) * 0x1p-32;
  double p = exp(static_cast<float>(-kInCell)), sum = p;
  int n = 0;
  while (u > sum && n < 60) p *= kInCell / ++n, sum += p;
  return n;
}

// The thickest share of the streak of a drop in focus.
double thickest(double mm, double z, const Rainfall& r) {
  const double px_per_m = r.focal_px / z, width = mm * 1e-3 * px_per_m;
  const double length = std::max(px_per_m * fall_speed(static_cast<float>(mm)) * r.exposure_s, 0.1 * kLensSpreadPx);
  return M_PI / 4 * width * width / (length * kLensSpreadPx * std::sqrt(2 * M_PI));
}

// The smallest drop that is seen from `z` on, mm; above kLargestDrop: none is.
double smallest_seen(double z, const Rainfall& r) {
  double low = kSmallestDrop, high = kLargestDrop;
  if (thickest(high, z, r) < kFaintestShare) return 2 * kLargestDrop;
  if (thickest(low, z, r) >= kFaintestShare) return low;
  for (int i = 0; i < 20; ++i) {
    const double middle = (low + high) / 2;
    (thickest(middle, z, r) < kFaintestShare ? low : high) = middle;
  }
  return low;
}

struct Layer {
  uint32_t index;
  double near, far;
  double tall;      // What a drop falls through before it comes again, m.
  double wide;      // Of a cell, m.
  double smallest;  // mm
};

std::vector<Layer> layers_of(const Rainfall& r) {
  std::vector<Layer> all;
  const double slope = drop_slope(kHeaviestRain);
  double near = r.near_m;
  for (uint32_t i = 0; near < r.far_m; ++i) {
    const double far = std::min(near * kDeeper, r.far_m);
    Layer l{i, near, far, 0, 0, smallest_seen(near, r)};
    if (l.smallest > kLargestDrop) break;
    const double density = kDropsAtZero / slope * exp(static_cast<float>(-slope * l.smallest));
    l.tall = 1.1 * (r.height / r.focal_px * far + kFastest * r.exposure_s) + 0.1;
    l.wide = kInCell / (density * l.tall * (far - near));
    all.push_back(l);
    near = far;
  }
  std::reverse(all.begin(), all.end());
  return all;
}

}  // namespace

std::vector<Drop> drops_before(const Rainfall& r, double rain_mm_h, double time_s, const Rect& rect, double margin_px) {
  std::vector<Drop> all;
  if (!(rain_mm_h > 0) || rect.empty() || !(r.focal_px > 0)) return all;
  const float most = static_cast<float>(drop_slope(kHeaviestRain));
  const float thinned = static_cast<float>(drop_slope(std::min(rain_mm_h, kHeaviestRain))) - most;
  for (const Layer& l : layers_of(r)) {
    // What is seen of the layer, and what may drift into view while the shutter is open, m.
    const double blown = (std::abs(r.wind_m_s) + kStray * kFastest) * r.exposure_s / 2 + kStray * l.tall / 2;
    const auto at = [&](double px, double pole) { return (px - r.width / 2.0 + pole * margin_px) / r.focal_px; };
    const double left = at(rect.x0, -1), right = at(rect.x1, 1);
    const double from = std::min(left * l.near, left * l.far) - blown,
                 to = std::max(right * l.near, right * l.far) + blown;
    const double drift = r.wind_m_s * time_s;
    const auto first = static_cast<int64_t>(std::floor((from - drift) / l.wide));
    const auto last = static_cast<int64_t>(std::floor((to - drift) / l.wide));
    for (int64_t cell = first; cell <= last; ++cell) {
      const auto c = static_cast<uint32_t>(cell);
      const int count = how_many(random_bits(r.seed, {c, l.index << 8, 0, kCount})[0]);
      for (int j = 0; j < count; ++j) {
        const uint32_t which = l.index << 8 | static_cast<uint32_t>(j);
        const RandomBits own = random_bits(r.seed, {c, which, 0, kOwn});
        Drop d;
        d.mm = static_cast<float>(l.smallest) - log(1 - uniform(own[0])) / most;
        if (d.mm > kLargestDrop || uniform(own[1]) > exp(-thinned * d.mm)) continue;
        d.speed = fall_speed(d.mm);
        const double fallen = uniform(own[2]) + d.speed * time_s / l.tall, times = std::floor(fallen);
        d.y = (fallen - times - 0.5) * l.tall;
        const double seen = d.speed * r.exposure_s / 2 * r.focal_px / l.near + margin_px;
        const double middle = r.height / 2.0, high = d.y * r.focal_px / l.near, low = d.y * r.focal_px / l.far;
        if (middle + std::max(high, low) + seen < rect.y0 || middle + std::min(high, low) - seen > rect.y1) continue;
        const RandomBits place =
            random_bits(r.seed, {c, which, static_cast<uint32_t>(static_cast<int64_t>(times)), kPlace});
        d.z = l.near + (l.far - l.near) * uniform(place[1]);
        const double stray = kStray * (2 * uniform(place[2]) - 1);
        d.sideways = static_cast<float>(r.wind_m_s + stray * d.speed);
        d.x = (double(cell) + uniform(place[0])) * l.wide + drift + stray * d.y;
        d.chance = uniform(own[3]);
        d.number = (uint64_t{c} << 32 | which) ^ (static_cast<uint64_t>(place[3]) << 20);
        const double px_per_m = r.focal_px / d.z;
        const double x = r.width / 2.0 + d.x * px_per_m, y = r.height / 2.0 + d.y * px_per_m;
        const double reach_x = std::abs(d.sideways) * r.exposure_s / 2 * px_per_m + margin_px;
        const double reach_y = d.speed * r.exposure_s / 2 * px_per_m + margin_px;
        if (x + reach_x < rect.x0 || x - reach_x > rect.x1 || y + reach_y < rect.y0 || y - reach_y > rect.y1) continue;
        all.push_back(d);
      }
    }
  }
  return all;
}

}  // namespace pw
