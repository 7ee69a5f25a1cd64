#include "comp/weather/grain.h"

#include <algorithm>
#include <cmath>

#include "base/elementary.h"
#include "base/random.h"

namespace pw {
namespace {

constexpr uint32_t kLane = 0x67726e00;  // Keeps these numbers apart from others of the same seed.
constexpr int kSpectrum = 32;           // Samples of a period of the power spectrum along each axis.

double cosine(int turns_of_32) {
  static const std::array<double, kSpectrum> table = [] {
    std::array<double, kSpectrum> t{};
    for (int i = 0; i < kSpectrum; ++i) t[i] = cos_turn(static_cast<float>(i) / kSpectrum);
    return t;
  }();
  return table[static_cast<unsigned>(turns_of_32) % kSpectrum];
}

// Of an even function of two lags, over lags -reach..reach: its cosine transform at (u, v).
double transform(const std::vector<double>& f, int reach, int u, int v) {
  double sum = 0;
  for (int y = -reach, i = 0; y <= reach; ++y)
    for (int x = -reach; x <= reach; ++x, ++i) sum += f[i] * cosine(u * x + v * y);
  return sum;
}

std::vector<double> whole_kernel(const std::vector<double>& correlation, int reach) {
  std::vector<double> root(kSpectrum * kSpectrum), kernel;
  for (int v = 0; v < kSpectrum; ++v)
    for (int u = 0; u < kSpectrum; ++u)
      root[v * kSpectrum + u] = std::sqrt(std::max(0.0, transform(correlation, reach, u, v)));
  const int wide = Noise::kLongestReach + 2;  // A kernel may reach further than its correlation.
  for (int y = -wide; y <= wide; ++y)
    for (int x = -wide; x <= wide; ++x) {
      double sum = 0;
      for (int v = 0; v < kSpectrum; ++v)
        for (int u = 0; u < kSpectrum; ++u) sum += root[v * kSpectrum + u] * cosine(u * x + v * y);
      kernel.push_back(sum / (kSpectrum * kSpectrum));
    }
  return kernel;
}

// How far out the kernel matters: beyond, less than 1e-5 of its energy is left.
int support(const std::vector<double>& kernel, int wide) {
  double all = 0;
  for (double k : kernel) all += k * k;
  int reach = 0;
  for (double in = 0; reach <= wide; ++reach) {
    in = 0;
    for (int y = -reach; y <= reach; ++y)
      for (int x = -reach; x <= reach; ++x) in += std::pow(kernel[(y + wide) * (2 * wide + 1) + x + wide], 2);
    if (in >= (1 - 1e-5) * all) break;
  }
  return std::min(reach, wide);
}

// Cholesky factor of a correlation matrix; where it is not one, correlations are shrunk until it is.
std::array<std::array<float, 3>, 3> factor(std::array<std::array<double, 3>, 3> c) {
  for (int attempt = 0;; ++attempt) {
    double l[3][3] = {};
    bool good = true;
    for (int i = 0; i < 3; ++i)
      for (int j = 0; j <= i; ++j) {
        double s = c[i][j];
        for (int k = 0; k < j; ++k) s -= l[i][k] * l[j][k];
        if (i == j) {
          good = good && s > -1e-9;
          l[i][i] = std::sqrt(std::max(0.0, s));
        } else {
          l[i][j] = l[j][j] > 1e-6 ? s / l[j][j] : 0;
        }
      }
    if (good || attempt > 400) {
      std::array<std::array<float, 3>, 3> f{};
      for (int i = 0; i < 3; ++i) {
        double sum = 0;
        for (int j = 0; j <= i; ++j) sum += l[i][j] * l[i][j];
        for (int j = 0; j <= i; ++j) f[i][j] = static_cast<float>(l[i][j] / std::sqrt(sum));
      }
      return f;
    }
    for (int i = 0; i < 3; ++i)
      for (int j = 0; j < 3; ++j)
        if (i != j) c[i][j] *= 0.99;
  }
}

// Three normal numbers of a pixel.
std::array<float, 3> numbers(uint64_t seed, int frame, int x, int y) {
  const RandomBits b = random_bits(seed, frame, x, y, kLane);
  const auto [a, c] = gauss(b[0], b[1]);
  return {a, c, gauss(b[2], b[3])[0]};
}

}  // namespace

GrainRecipe grain_recipe(const Noise& noise) {
  GrainRecipe r{noise, 0, {}, {}};
  const int wide = Noise::kLongestReach + 2;
  std::array<std::vector<double>, 3> kernels;
  for (int c = 0; c < 3; ++c) {
    kernels[c] = whole_kernel(noise.spatial[c], noise.reach);
    r.reach = std::max(r.reach, support(kernels[c], wide));
  }
  for (int c = 0; c < 3; ++c) {
    double energy = 0;
    for (int y = -r.reach; y <= r.reach; ++y)
      for (int x = -r.reach; x <= r.reach; ++x)
        energy += std::pow(kernels[c][(y + wide) * (2 * wide + 1) + x + wide], 2);
    for (int y = -r.reach; y <= r.reach; ++y)
      for (int x = -r.reach; x <= r.reach; ++x)
        r.kernel[c].push_back(static_cast<float>(kernels[c][(y + wide) * (2 * wide + 1) + x + wide] /
                                                 std::sqrt(std::max(1e-30, energy))));
  }
  auto between = noise.between;
  for (int i = 0; i < 3; ++i)
    for (int j = 0; j < 3; ++j) {
      double alike = 0;
      for (size_t k = 0; k < r.kernel[i].size(); ++k) alike += double(r.kernel[i][k]) * r.kernel[j][k];
      if (i != j) between[i][j] = std::clamp(between[i][j] / std::max(0.1, alike), -1.0, 1.0);
    }
  r.mix = factor(between);
  return r;
}

Picture add_grain(const Picture& picture, const GrainRecipe& r, uint64_t seed, int frame, double amount, double scale,
                  const Rect& rect) {
  const Rect inside = intersect(rect, picture.window());
  if (amount == 0 || inside.empty()) return picture.cropped(rect);
  // Averaging 1 / scale^2 pixels divides the variance by their number, less what neighbours have in common.
  std::array<float, 3> share;
  for (int c = 0; c < 3; ++c) {
    double sum = 0;
    for (double v : r.noise.spatial[c]) sum += v;
    share[c] = static_cast<float>(amount * (scale < 1 ? std::min(1.0, scale * std::sqrt(std::max(0.0, sum))) : 1.0));
  }
  const int reach = scale < 1 ? 0 : r.reach, side = 2 * r.reach + 1;
  const Rect wide = inside.grown(reach);
  // Mixed between channels first, one plane each, so that the kernels run along rows.
  const size_t width = static_cast<size_t>(wide.width());
  std::vector<float> white(3 * width * static_cast<size_t>(wide.height()));
  const auto plane_row = [&](int c, int y) {
    return white.data() + (static_cast<size_t>(c) * wide.height() + static_cast<size_t>(y - wide.y0)) * width;
  };
  for (int y = wide.y0; y < wide.y1; ++y)
    for (int x = wide.x0; x < wide.x1; ++x) {
      const std::array<float, 3> n = numbers(seed, frame, x, y);
      for (int c = 0; c < 3; ++c) {
        float m = 0;
        for (int j = 0; j <= c; ++j) m += r.mix[c][j] * n[j];
        plane_row(c, y)[x - wide.x0] = m;
      }
    }
  const int channels = picture.channels();
  Canvas out = Canvas::copy(picture, inside);
  std::vector<float> spread(static_cast<size_t>(inside.width()));
  for (int y = inside.y0; y < inside.y1; ++y)
    for (int k = 0; k < std::min(3, channels); ++k) {
      const int c = channels == 1 ? 1 : k;
      std::fill(spread.begin(), spread.end(), 0.f);
      for (int v = -reach; v <= reach; ++v)
        for (int u = -reach; u <= reach; ++u) {
          const float weight = reach == 0 ? 1.f : r.kernel[c][(v + r.reach) * side + u + r.reach];
          const float* from = plane_row(c, y + v) + u + reach;
          for (size_t x = 0; x < spread.size(); ++x) spread[x] += weight * from[x];
        }
      float* p = out.row(y);
      for (size_t x = 0; x < spread.size(); ++x, p += channels) {
        const float alpha = channels == 4 ? p[3] : 1.f;
        if (alpha <= 0) continue;
        p[k] += alpha * share[c] * static_cast<float>(r.noise.sigma(c, p[k] / alpha)) * spread[x];
      }
    }
  return std::move(out).finish();
}

}  // namespace pw
