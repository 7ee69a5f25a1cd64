#include "warp/smear.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numeric>

namespace pw::smear_test {

// What a picture smeared over `present` looks like after the weights, in 64ths of a sample's part of the path: the
// density over the path and beyond.
std::vector<double> look(const std::vector<float>& w, double wanted, double present) {
  const int fine = 64, n = int(w.size());
  std::vector<double> density(3 * n * fine, 0);
  const double part = wanted / n;
  for (int i = 0; i < int(density.size()); ++i) {
    const double x = ((i + 0.5) / fine - 1.5 * n) * part;
    for (int s = 0; s < n; ++s) {
      const double at = (s - n / 2) * part, width = std::max(present, part);
      if (std::abs(x - at) < width / 2) density[i] += w[s] / width;
    }
  }
  return density;
}

// Root mean square difference from the wanted box, in units of its height and over its length, both first seen through
// a pixel's square and a soft lens (sigma 0.5 px), as any picture is.
double miss(const std::vector<float>& w, double wanted, double present) {
  std::vector<double> d = look(w, wanted, present);
  const int n = int(w.size()), fine = 64;
  const double step = wanted / n / fine;
  for (int i = 0; i < int(d.size()); ++i) d[i] -= std::abs((i + 0.5) / fine - 1.5 * n) < 0.5 * n ? 1 / wanted : 0;
  const int r = int(2 / step);
  double sum = 0;
  for (int i = 0; i < int(d.size()); ++i) {
    double v = 0, total = 0;
    for (int j = -r; j <= r; ++j) {
      const double g = std::exp(-(j * step) * (j * step) / (2 * 0.58 * 0.58));
      total += g;
      if (i + j >= 0 && i + j < int(d.size())) v += g * d[i + j];
    }
    sum += v / total * v / total;
  }
  return std::sqrt(sum * step * wanted);
}

// The box that adds the wanted variance: the obvious other answer.
std::vector<float> by_variance(double wanted, double present, int n) {
  std::vector<float> w(n, 0);
  const double half = std::sqrt(wanted * wanted - present * present) / wanted * n / 2;
  for (int i = 0; i < n; ++i)
    w[i] = float(std::max(0.0, std::min(i - n / 2 + 0.5, half) - std::max(i - n / 2 - 0.5, -half)) / (2 * half));
  return w;
}

TEST(Smear, NothingPresentGivesEvenWeights) {
  for (int n : {1, 3, 17}) {
    const auto w = smear_weights(5, 0, n);
    ASSERT_EQ(int(w.size()), n);
    for (float v : w) EXPECT_FLOAT_EQ(v, 1.f / n);
  }
}

TEST(Smear, NothingWantingGivesOneWeight) {
  for (const auto& [wanted, present] : {std::pair{5.0, 5.0}, {5.0, 9.0}, {0.0, 0.0}, {0.0, 3.0}}) {
    const auto w = smear_weights(wanted, present, 9);
    for (int i = 0; i < 9; ++i) EXPECT_EQ(w[i], i == 4 ? 1 : 0);
  }
}

TEST(Smear, WeightsAreAMeanAndSymmetric) {
  for (double present : {0.1, 1.0, 2.5, 4.0, 5.0, 7.0, 9.0, 9.9, 9.999}) {
    const auto w = smear_weights(10, present, 25);
    double sum = 0;
    for (int i = 0; i < 25; ++i) {
      EXPECT_GE(w[i], 0);
      EXPECT_NEAR(w[i], w[24 - i], 1e-5);
      sum += w[i];
    }
    EXPECT_NEAR(sum, 1, 1e-5);
  }
}

// Twice and three times the present length: boxes set side by side make the wanted one.
TEST(Smear, MultiplesAreNearlyExact) {
  EXPECT_LT(miss(smear_weights(10, 5, 33), 10, 5), 0.06);
  EXPECT_LT(miss(smear_weights(12, 4, 33), 12, 4), 0.06);
}

TEST(Smear, ComesNearerThanMatchedVariance) {
  for (double ratio : {0.1, 0.25, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9}) {
    const double wanted = 10, present = ratio * wanted;
    const double ours = miss(smear_weights(wanted, present, 33), wanted, present),
                 other = miss(by_variance(wanted, present, 33), wanted, present),
                 none = miss(smear_weights(wanted, wanted, 33), wanted, present);
    std::printf("present %.2f of wanted: differs by %.3f, matched variance %.3f, nothing added %.3f\n", ratio, ours,
                other, none);
    EXPECT_LT(ours, other + 0.002) << ratio;
    EXPECT_LT(ours, none) << ratio;
  }
}

TEST(Smear, ChangesSteadilyWithBothLengths) {
  std::vector<float> last;
  double worst = 0;
  for (double present = 0; present < 10.05; present += 0.01) {
    const auto w = smear_weights(10, present, 25);
    if (!last.empty()) {
      double along = 0, moved = 0;  // Weight that has to be carried, times the way, in parts of the path.
      for (int i = 0; i < 25; ++i) moved += std::abs(along += w[i] - last[i]);
      worst = std::max(worst, moved / 25);
    }
    last = w;
  }
  EXPECT_LT(worst, 0.02);
}

}  // namespace pw::smear_test
