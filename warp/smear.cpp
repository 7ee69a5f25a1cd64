#include "warp/smear.h"

#include <algorithm>
#include <cmath>

namespace pw {
namespace {

constexpr int kIterations = 100;

// Mean of a step function (one value per part of width 1, zero outside) over a box of `width` around each part's
// middle. `sums` is scratch.
void box_mean(const std::vector<double>& in, double width, std::vector<double>& sums, std::vector<double>& out) {
  const int n = static_cast<int>(in.size());
  sums.assign(n + 1, 0);
  for (int i = 0; i < n; ++i) sums[i + 1] = sums[i] + in[i];
  const auto integral = [&](double x) {
    x = std::clamp(x, 0.0, double(n));
    const int i = std::min(static_cast<int>(x), n - 1);
    return sums[i] + (x - i) * in[i];
  };
  out.resize(n);
  for (int i = 0; i < n; ++i) out[i] = (integral(i + 0.5 + width / 2) - integral(i + 0.5 - width / 2)) / width;
}

}  // namespace

std::vector<float> smear_weights(double wanted, double present, int count) {
  std::vector<float> weights(count, 0);
  const int middle = count / 2;
  if (!(wanted > present) || count < 3) {
    weights[middle] = 1;
    return weights;
  }
  if (!(present > 0)) {
    std::fill(weights.begin(), weights.end(), 1.f / static_cast<float>(count));
    return weights;
  }
  // In parts: the path is `count` of them long. Room for what the present smear spreads beyond its ends.
  const double ratio = present / wanted, width = ratio * count, added = std::sqrt(1 - ratio * ratio) * count;
  const int pad = static_cast<int>(std::ceil(width)) + 1, n = count + 2 * pad;
  std::vector<double> w(n, 0), target(n, 0), pull, seen, push, scratch;
  double sum = 0;
  for (int i = 0; i < count; ++i) {
    const double from = std::max(i - middle - 0.5, -added / 2), to = std::min(i - middle + 0.5, added / 2);
    sum += w[pad + i] = std::max(0.0, to - from);
    target[pad + i] = 1.0 / count;
  }
  for (double& v : w) v /= sum;
  box_mean(target, width, scratch, pull);
  for (int k = 0; k < kIterations; ++k) {
    box_mean(w, width, scratch, seen);
    box_mean(seen, width, scratch, push);
    sum = 0;
    for (int i = 0; i < n; ++i) sum += w[i] *= push[i] > 0 ? pull[i] / push[i] : 0;
    for (double& v : w) v /= sum;
  }
  for (int i = 0; i < count; ++i) weights[i] = static_cast<float>(w[pad + i]);
  return weights;
}

}  // namespace pw
