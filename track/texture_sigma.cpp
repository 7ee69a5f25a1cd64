#include "track/texture_sigma.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "track/normal.h"
#include "track/region.h"

namespace pw {
namespace {

constexpr int kTile = 32;

// Mean code value of the channels.
double code(const float* v, int channels) {
  double sum = 0;
  const int used = std::min(channels, 3);
  for (int c = 0; c < used; ++c) {
    const double l = v[c];
    sum += l <= 0.0031308 ? 12.92 * l : 1.055 * std::pow(l, 1 / 2.4) - 0.055;
  }
  return sum / used;
}

}  // namespace

double texture_sigma(const Picture& picture, std::span<const Point> region, double noise,
                     const std::function<bool(const Point&)>& usable) {
  const Rect box = intersect(bounds(region), picture.window().grown(-1));
  if (box.empty()) return NAN;
  const std::vector<float> share = coverage(region, box);
  Point centre(0, 0);
  for (const Point& p : region) centre += p / double(region.size());
  double radius = 1;
  for (const Point& p : region) radius = std::max(radius, (p - centre).norm());
  // The channels' mean has less noise than each of them; a slope of two pixels' difference half of one pixel's square.
  const double sigma = noise / std::sqrt(std::min(picture.channels(), 3)), false_slope = sigma * sigma / 2;

  using Matrix8 = Eigen::Matrix<double, kMotion, kMotion>;
  Matrix8 information = Matrix8::Zero();
  std::vector<double> values(size_t(kTile + 2) * (kTile + 2));
  for (int y0 = box.y0; y0 < box.y1; y0 += kTile)
    for (int x0 = box.x0; x0 < box.x1; x0 += kTile) {
      const int x1 = std::min(x0 + kTile, box.x1), y1 = std::min(y0 + kTile, box.y1);
      for (int y = y0 - 1; y <= y1; ++y)
        for (int x = x0 - 1; x <= x1; ++x)
          values[size_t(y - y0 + 1) * (kTile + 2) + (x - x0 + 1)] = code(picture.at(x, y), picture.channels());
      Eigen::Matrix2d slopes = Eigen::Matrix2d::Zero();
      Eigen::Vector2d mean = Eigen::Vector2d::Zero();
      double count = 0;
      for (int y = y0; y < y1; ++y)
        for (int x = x0; x < x1; ++x) {
          if (share[size_t(y - box.y0) * box.width() + (x - box.x0)] < 0.5f || !usable({x + 0.5, y + 0.5})) continue;
          const double* v = &values[size_t(y - y0 + 1) * (kTile + 2) + (x - x0 + 1)];
          const Eigen::Vector2d g((v[1] - v[-1]) / 2, (v[kTile + 2] - v[-(kTile + 2)]) / 2);
          slopes += g * g.transpose(), mean += g, ++count;
        }
      if (count == 0) continue;
      // A quarter more than is expected: noise is told where it is quietest, and its sum is not known exactly.
      slopes -= mean * mean.transpose() / count + 1.25 * count * false_slope * Eigen::Matrix2d::Identity();
      const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> eigen(slopes);
      const Eigen::Vector2d real = eigen.eigenvalues().cwiseMax(0);
      const auto j = motion_jacobian({(x0 + x1) / 2.0, (y0 + y1) / 2.0}, centre, radius);
      information += j.transpose() * eigen.eigenvectors() * real.asDiagonal() * eigen.eigenvectors().transpose() * j;
    }
  const double variance = 2 * std::max(sigma * sigma, 1e-8);  // Of the difference of two pictures.
  const Eigen::LDLT<Matrix8> solver(information / variance);
  double worst = 0;
  for (const Point& p : region) {
    const Eigen::Matrix<double, 2, kMotion> j = motion_jacobian(p, centre, radius);
    const Eigen::Matrix2d c = j * solver.solve(j.transpose());
    const double spread = c.trace() / 2 + std::sqrt(std::pow((c(0, 0) - c(1, 1)) / 2, 2) + c(0, 1) * c(0, 1));
    if (!(spread > 0)) return NAN;
    worst = std::max(worst, spread);
  }
  return std::sqrt(worst) < 1e3 ? std::sqrt(worst) : NAN;
}

}  // namespace pw
