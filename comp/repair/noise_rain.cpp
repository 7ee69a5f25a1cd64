#include "comp/repair/noise_rain.h"

#include <algorithm>
#include <vector>

namespace pw {
namespace {

constexpr size_t kFewest = 60;   // Patches.
constexpr double kTooMuch = 5;   // Times the median variance: that does not lie on one another.
constexpr double kUneven = 1.6;  // m1 m3 / m2^2 of rain.
constexpr double kSeen = 0.2;    // Of the variance: less rain cannot be told from grain.

}  // namespace

std::array<double, 3> rain_share(std::span<const RainPatch> patches, const Noise& noise) {
  if (patches.size() < kFewest) return {};
  std::vector<double> sizes;
  for (const RainPatch& p : patches) sizes.push_back(p.seen.second);
  std::nth_element(sizes.begin(), sizes.begin() + sizes.size() / 2, sizes.end());
  const double most = kTooMuch * sizes[sizes.size() / 2];
  double all = 0, rain = 0, third = 0;
  std::array<double, 3> with{}, around{};
  for (const RainPatch& p : patches) {
    if (p.seen.second > most) continue;
    std::array<double, 3> sigma;
    for (int c = 0; c < 3; ++c) sigma[c] = noise.sigma(c, p.seen.brightness[c]);
    all += p.seen.second, third += p.seen.third;
    rain += p.seen.second;
    for (int c = 0; c < 3; ++c) {
      double grain = 0;
      for (int k = 0; k < 3; ++k) grain += noise.between[c][k] * sigma[c] * sigma[k];
      rain -= grain;
      with[c] += p.seen.with[c] - grain;
      around[c] += p.around[c];
    }
  }
  if (!(rain > kSeen * all && third > 0)) return {};
  // Sums over the same patches; those of `around` make the result a share.
  std::array<double, 3> share{};
  for (int c = 0; c < 3; ++c)
    if (around[c] > 0) share[c] = std::clamp(kUneven * rain / third * with[c] / around[c], 0.0, 1.0);
  return share;
}

}  // namespace pw
