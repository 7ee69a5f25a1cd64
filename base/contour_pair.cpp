#include "base/contour_pair.h"

#include <algorithm>
#include <cmath>

namespace pw {
namespace {
constexpr double kClearlyBetter = 0.25;
}

std::vector<std::pair<size_t, size_t>> paired(std::span<const Contour> from, std::span<const Contour> to) {
  struct About {
    Point centre;
    double size;
  };
  const auto about = [](const Contour& c) {
    Point mean(0, 0);
    for (const Knot& k : c.knots) mean += k.at;
    return About{mean / static_cast<double>(c.knots.size()), std::sqrt(std::abs(signed_area(c)))};
  };
  std::vector<About> a, b;
  for (const Contour& c : from) a.push_back(about(c));
  for (const Contour& c : to) b.push_back(about(c));
  const auto cost = [&](size_t i, size_t j) {
    return (a[i].centre - b[j].centre).squaredNorm() + (a[i].size - b[j].size) * (a[i].size - b[j].size);
  };

  std::vector<std::pair<size_t, size_t>> drawn;
  double drawn_cost = 0;
  for (size_t i = 0; i < std::min(a.size(), b.size()); ++i) drawn.emplace_back(i, i), drawn_cost += cost(i, i);
  if (a.size() * b.size() > 1'000'000) return drawn;

  std::vector<std::pair<size_t, size_t>> candidates, nearest;
  for (size_t i = 0; i < a.size(); ++i)
    for (size_t j = 0; j < b.size(); ++j) candidates.emplace_back(i, j);
  std::stable_sort(candidates.begin(), candidates.end(),
                   [&](const auto& p, const auto& q) { return cost(p.first, p.second) < cost(q.first, q.second); });
  std::vector<bool> used_a(a.size()), used_b(b.size());
  double nearest_cost = 0;
  for (const auto& [i, j] : candidates) {
    if (used_a[i] || used_b[j]) continue;
    used_a[i] = used_b[j] = true;
    nearest.emplace_back(i, j);
    nearest_cost += cost(i, j);
  }
  std::sort(nearest.begin(), nearest.end());
  return a.size() == b.size() && !(nearest_cost < kClearlyBetter * drawn_cost) ? drawn : nearest;
}

}  // namespace pw
