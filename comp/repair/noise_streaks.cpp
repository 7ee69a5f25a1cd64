#include "comp/repair/noise_streaks.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace pw {
namespace {

constexpr int kReach = Patch::kReach;
constexpr double kRunsOn = 0.05;  // Correlation 4 rows away, from which on there are streaks.
constexpr int kNear = 2;          // Columns on either side of a streak's middle that hold all of it.

constexpr auto lag = Patch::lag;

double spline(double t) {
  t = std::abs(t);
  if (t >= 2) return 0;
  return t < 1 ? (4 - 6 * t * t + 3 * t * t * t) / 6 : (2 - t) * (2 - t) * (2 - t) / 6;
}

}  // namespace

std::optional<Streaks> Streaks::find(std::span<const Patch* const> patches) {
  std::array<double, Patch::kLags> a{};
  double all = 0;
  for (const Patch* p : patches)
    for (int c = 0; c < 3; ++c) {
      // Each patch and channel counts alike, so that a few that do not lie on one another count for little.
      ++all;
      for (int l = 0; l < Patch::kLags; ++l) a[l] += p->spatial[c][l];
    }
  if (all == 0) return std::nullopt;
  for (double& v : a) v /= all;
  std::vector<double> far;
  for (int y = 2; y <= kReach; ++y)
    for (int x = -kReach; x <= kReach; ++x) far.push_back(a[lag(x, y)]);
  std::nth_element(far.begin(), far.begin() + far.size() / 4, far.end());
  const double base = std::min(0.0, far[far.size() / 4]);
  int peak = 0;
  for (int x = -kReach; x <= kReach; ++x)
    if (a[lag(x, kReach)] > a[lag(peak, kReach)]) peak = x;
  const double down = a[lag(peak, kReach)] - base, aside = a[lag(kReach, 0)] - base;
  if (down < kRunsOn || aside > 0.5 * down) return std::nullopt;

  Streaks s;
  s.slope_ = double(peak) / kReach;
  std::array<double, kReach + 1> sum{};
  double moments = 0, squares = 0;
  for (int y = 2; y <= kReach; ++y) {
    double first = 0;
    const int middle = static_cast<int>(std::lround(s.slope_ * y));
    for (int x = std::max(-kReach, middle - kNear); x <= std::min(kReach, middle + kNear); ++x)
      sum[y] += a[lag(x, y)] - base, first += x * (a[lag(x, y)] - base);
    if (sum[y] <= 0) return std::nullopt;
    moments += y * first / sum[y], squares += y * y;
  }
  s.slope_ = moments / squares;
  const double mean = (sum[2] + sum[3] + sum[4]) / 3, fall = std::max(0.0, (sum[2] - sum[4]) / 2);
  for (int y = 0; y <= kReach; ++y) s.run_[y] = 1 + fall * (3 - y) / mean;
  s.base_ = base / mean;
  return s;
}

// Sum over the ridge, mean of the rows.
double Streaks::ridge(const Patch& p, int c) const {
  double sum = 0;
  for (int y = 2; y <= kReach; ++y) {
    const int middle = static_cast<int>(std::lround(slope_ * y));
    double row = 0;
    int count = 0;
    for (int x = std::max(-kReach, middle - kNear); x <= std::min(kReach, middle + kNear); ++x, ++count)
      row += p.spatial[c][lag(x, y)];
    sum += row / (1 + count * base_);
  }
  return sum / (kReach - 1);
}

Streaks::Group Streaks::group(std::span<const Patch* const> patches) const {
  Group g;
  for (const Patch* p : patches)
    for (int c = 0; c < 3; ++c) {
      const double share = 1 / static_cast<double>(patches.size());
      g.variance[c] += share * p->variance[c];
      g.amplitude[c] += share * p->variance[c] * ridge(*p, c);
    }
  for (int c = 0; c < 3; ++c) {
    g.amplitude[c] = std::max(0.0, g.amplitude[c]);
    g.lost[c] = -base_ * g.amplitude[c];
  }
  return g;
}

double Streaks::covariance(const Group& g, int i, int j, int x, int y) const {
  return std::sqrt(g.amplitude[i] * g.amplitude[j]) * run_[std::abs(y)] *
         spline((y < 0 ? -x : x) - slope_ * std::abs(y));
}

}  // namespace pw
