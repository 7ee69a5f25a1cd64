#include "base/surroundings.h"

#include <algorithm>
#include <cmath>

#include "base/elementary.h"

namespace pw {
namespace {

constexpr int kAcross = 48;
using Sum = std::array<double, 4>;  // Light, and how much of the cell shows any.

std::vector<double> weights(int count, double deviation_cells) {
  std::vector<double> w;
  for (int i = 0; i < count; ++i) {
    const double d = i / deviation_cells;
    w.push_back(exp(static_cast<float>(-0.5 * d * d)));
  }
  return w;
}

}  // namespace

Surroundings::Surroundings(const Picture& picture, const Rect& canvas, double spread_px) : canvas_(canvas) {
  if (canvas.empty()) return;
  cell_ = std::max(1, (canvas.width() + kAcross - 1) / kAcross);
  columns_ = (canvas.width() + cell_ - 1) / cell_, rows_ = (canvas.height() + cell_ - 1) / cell_;
  std::vector<Sum> cells(size_t(columns_) * rows_), across(cells.size());
  const Rect shown = intersect(canvas, picture.window());
  const int channels = picture.channels();
  for (int y = shown.y0; y < shown.y1; ++y) {
    const float* p = picture.at(shown.x0, y);
    for (int x = shown.x0; x < shown.x1; ++x, p += channels) {
      Sum& s = cells[size_t((y - canvas.y0) / cell_) * columns_ + (x - canvas.x0) / cell_];
      for (int k = 0; k < 3; ++k) s[k] += p[std::min(k, channels - 1)];
      s[3] += channels == 4 ? p[3] : 1;
    }
  }
  const std::vector<double> w = weights(std::max(columns_, rows_), std::max(0.3, spread_px / cell_));
  for (int j = 0; j < rows_; ++j)
    for (int i = 0; i < columns_; ++i)
      for (int n = 0; n < columns_; ++n)
        for (int k = 0; k < 4; ++k) across[j * columns_ + i][k] += w[std::abs(n - i)] * cells[j * columns_ + n][k];
  for (int j = 0; j < rows_; ++j)
    for (int i = 0; i < columns_; ++i) {
      Sum s{};
      for (int n = 0; n < rows_; ++n)
        for (int k = 0; k < 4; ++k) s[k] += w[std::abs(n - j)] * across[n * columns_ + i][k];
      std::array<float, 3> light{};
      for (int k = 0; k < 3; ++k) light[k] = s[3] > 0 ? static_cast<float>(s[k] / s[3]) : 0;
      light_.push_back(light);
    }
}

std::array<float, 3> Surroundings::at(double x, double y) const {
  if (light_.empty()) return {};
  const double u = std::clamp((x - canvas_.x0) / cell_ - 0.5, 0.0, columns_ - 1.0);
  const double v = std::clamp((y - canvas_.y0) / cell_ - 0.5, 0.0, rows_ - 1.0);
  const int i = std::min(static_cast<int>(u), std::max(0, columns_ - 2)),
            j = std::min(static_cast<int>(v), std::max(0, rows_ - 2));
  const int right = std::min(i + 1, columns_ - 1), below = std::min(j + 1, rows_ - 1);
  const float a = static_cast<float>(u - i), b = static_cast<float>(v - j);
  std::array<float, 3> light;
  for (int k = 0; k < 3; ++k) {
    const float top = light_[j * columns_ + i][k] + a * (light_[j * columns_ + right][k] - light_[j * columns_ + i][k]);
    const float low =
        light_[below * columns_ + i][k] + a * (light_[below * columns_ + right][k] - light_[below * columns_ + i][k]);
    light[k] = top + b * (low - top);
  }
  return light;
}

}  // namespace pw
