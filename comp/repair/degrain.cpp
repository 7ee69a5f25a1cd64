#include "comp/repair/degrain.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <optional>
#include <vector>

#include "base/elementary.h"

namespace pw {
namespace {

constexpr int kSide = 8, kCount = kSide * kSide;
constexpr float kThreshold = 2.7f;  // Standard deviations: Yu and Sapiro's 3, lowered for what the second pass takes.

using Block = std::array<float, kCount>;
using Colours = std::array<Block, 3>;

// The orthonormal cosine transform of 8 values.
const std::array<Block, 2>& bases() {
  static const std::array<Block, 2> both = [] {
    std::array<Block, 2> b;
    for (int u = 0; u < kSide; ++u)
      for (int x = 0; x < kSide; ++x) {
        const float v = (u ? 0.5f : 0.35355339f) * cos_turn(static_cast<float>((2 * x + 1) * u) / 32);
        b[0][u * kSide + x] = b[1][x * kSide + u] = v;
      }
    return b;
  }();
  return both;
}

using f8 = float __attribute__((vector_size(32)));

// a * b, row by row, eight numbers at a time.
void multiply(const Block& a, const Block& b, Block& out) {
  f8 rows[kSide];
  std::memcpy(rows, b.data(), sizeof rows);
  for (int i = 0; i < kSide; ++i) {
    f8 sum = a[i * kSide] * rows[0];
    for (int k = 1; k < kSide; ++k) sum += a[i * kSide + k] * rows[k];
    std::memcpy(&out[i * kSide], &sum, sizeof sum);
  }
}

// m * in * m^T.
Block sandwiched(const Block& m, const Block& mt, const Block& in) {
  Block half, out;
  multiply(m, in, half);
  multiply(half, mt, out);
  return out;
}
Block forward(const Block& b) { return sandwiched(bases()[0], bases()[1], b); }
Block backward(const Block& b) { return sandwiched(bases()[1], bases()[0], b); }

// One sum and two differences of red, green, blue: orthonormal.
constexpr float kTurn[3][3] = {{0.57735027f, 0.57735027f, 0.57735027f},
                               {0.70710678f, 0.f, -0.70710678f},
                               {0.40824829f, -0.81649658f, 0.40824829f}};

// Variance of a coefficient for grain of variance 1 that hangs together as `correlation` says.
Block spectrum(const std::vector<double>& correlation, int reach) {
  Block s;
  const Block& basis = bases()[0];
  const auto overlap = [&](int u, int lag) {  // Of a basis vector with itself, moved.
    double sum = 0;
    for (int x = std::max(0, -lag); x < kSide - std::max(0, lag); ++x)
      sum += double(basis[u * kSide + x]) * basis[u * kSide + x + lag];
    return sum;
  };
  for (int v = 0; v < kSide; ++v)
    for (int u = 0; u < kSide; ++u) {
      double sum = 0;
      for (int y = -reach, i = 0; y <= reach; ++y)
        for (int x = -reach; x <= reach; ++x, ++i) sum += correlation[i] * overlap(u, x) * overlap(v, y);
      s[v * kSide + u] = static_cast<float>(std::max(0.0, sum));
    }
  return s;
}

// A part of a picture by one plane for the sum and each difference, and where patches of it are opaque.
class Turned {
 public:
  Turned(const Picture& p, const Rect& part) : window_(part) {
    const int width = part.width(), channels = p.channels();
    for (auto& plane : planes_) plane.resize(size_t(width) * part.height());
    clear_.assign(size_t(width + 1) * (part.height() + 1), 0);
    for (int y = 0; y < part.height(); ++y) {
      const float* in = p.at(part.x0, part.y0 + y);
      int clear = 0;
      for (int x = 0; x < width; ++x, in += channels) {
        for (int t = 0; t < 3; ++t)
          planes_[t][size_t(y) * width + x] = kTurn[t][0] * in[0] + kTurn[t][1] * in[1] + kTurn[t][2] * in[2];
        clear += channels == 4 && in[3] < 0.999f;
        clear_[size_t(y + 1) * (width + 1) + x + 1] = clear_[size_t(y) * (width + 1) + x + 1] + clear;
      }
    }
  }
  bool opaque(int x, int y) const {
    const auto sum = [this](int u, int v) {
      return clear_[size_t(v - window_.y0) * (window_.width() + 1) + u - window_.x0];
    };
    return sum(x + kSide, y + kSide) - sum(x, y + kSide) - sum(x + kSide, y) + sum(x, y) == 0;
  }
  // A patch's coefficients, and the mean brightness of each channel.
  Colours taken(int x, int y, std::array<float, 3>& mean) const {
    Colours turned;
    for (int t = 0; t < 3; ++t) {
      const float* in = &planes_[t][size_t(y - window_.y0) * window_.width() + x - window_.x0];
      for (int v = 0; v < kSide; ++v)
        std::memcpy(&turned[t][v * kSide], in + v * window_.width(), kSide * sizeof(float));
      turned[t] = forward(turned[t]);
    }
    for (int c = 0; c < 3; ++c)
      mean[c] = (kTurn[0][c] * turned[0][0] + kTurn[1][c] * turned[1][0] + kTurn[2][c] * turned[2][0]) / kSide;
    return turned;
  }

 private:
  Rect window_;
  std::array<std::vector<float>, 3> planes_;
  std::vector<int> clear_;  // Pixels that are not opaque above and left of each pixel's corner.
};

class Degrainer {
 public:
  Degrainer(const Noise& noise, double left) : noise_(noise), left_(left) {
    std::array<Block, 3> own;
    for (int c = 0; c < 3; ++c) own[c] = spectrum(noise.spatial[c], noise.reach);
    for (int i = 0; i < 3; ++i)
      for (int j = 0; j < 3; ++j)
        for (int k = 0; k < kCount; ++k) spectra_[i][j][k] = std::sqrt(own[i][k] * own[j][k]);
  }

  // The result over `rect`; `first` is null in the first pass.
  Picture pass(const Picture& picture, const Picture* first, const Rect& rect) const {
    const Rect w = intersect(picture.window(), rect.grown(kSide - 1));
    Canvas out = Canvas::copy(picture, rect);
    const Turned all(picture, w);
    const std::optional<Turned> guess =
        first ? std::optional(Turned(*first, intersect(first->window(), w))) : std::nullopt;
    const int width = w.width();
    std::array<std::vector<float>, 4> sum;  // Three colours and the weight.
    for (auto& plane : sum) plane.assign(size_t(width) * w.height(), 0);
    for (int y = w.y0; y + kSide <= w.y1; ++y)
      for (int x = w.x0; x + kSide <= w.x1; ++x) {
        if (!all.opaque(x, y)) continue;
        float weight;
        const Colours patch = guess ? second_look(all, *guess, x, y, weight) : first_look(all, x, y, weight);
        const size_t at = size_t(y - w.y0) * width + x - w.x0;
        for (int v = 0; v < kSide; ++v)
          for (int u = 0; u < kSide; ++u) {
            for (int c = 0; c < 3; ++c) sum[c][at + size_t(v) * width + u] += weight * patch[c][v * kSide + u];
            sum[3][at + size_t(v) * width + u] += weight;
          }
      }
    for (int y = rect.y0; y < rect.y1; ++y)
      for (int x = rect.x0; x < rect.x1; ++x) {
        const size_t at = size_t(y - w.y0) * width + x - w.x0;
        if (sum[3][at] > 0)
          for (int c = 0; c < 3; ++c) out.at(x, y)[c] = sum[c][at] / sum[3][at];
      }
    return std::move(out).finish();
  }

 private:
  static Colours given_back(const Colours& coefficients) {
    const Block a = backward(coefficients[0]), b = backward(coefficients[1]), d = backward(coefficients[2]);
    Colours out;
    for (int c = 0; c < 3; ++c)
      for (int i = 0; i < kCount; ++i) out[c][i] = kTurn[0][c] * a[i] + kTurn[1][c] * b[i] + kTurn[2][c] * d[i];
    return out;
  }

  // Variances of the grain in each coefficient.
  Colours grain(const std::array<float, 3>& mean) const {
    std::array<float, 3> sigma;
    for (int c = 0; c < 3; ++c) sigma[c] = static_cast<float>(left_ * noise_.sigma(c, mean[c]));
    Colours g{};
    for (int t = 0; t < 3; ++t)
      for (int i = 0; i < 3; ++i)
        for (int j = 0; j < 3; ++j) {
          if (noise_.between[i][j] == 0) continue;
          const float both = kTurn[t][i] * kTurn[t][j] * sigma[i] * sigma[j] * static_cast<float>(noise_.between[i][j]);
          for (int k = 0; k < kCount; ++k) g[t][k] += both * spectra_[i][j][k];
        }
    for (Block& b : g)
      for (float& v : b) v = std::max(v, 1e-20f);
    return g;
  }

  Colours first_look(const Turned& p, int x, int y, float& weight) const {
    std::array<float, 3> mean;
    Colours f = p.taken(x, y, mean);
    const Colours g = grain(mean);
    int kept = 0;
    for (int t = 0; t < 3; ++t) {
      const float mean_light = f[t][0];
      for (int k = 0; k < kCount; ++k) {
        const bool keep = f[t][k] * f[t][k] >= kThreshold * kThreshold * g[t][k];
        f[t][k] = keep ? f[t][k] : 0.f;
        kept += keep && k > 0;
      }
      f[t][0] = mean_light;
    }
    weight = 1 / static_cast<float>(1 + kept);
    return given_back(f);
  }

  Colours second_look(const Turned& p, const Turned& first, int x, int y, float& weight) const {
    std::array<float, 3> mean;
    const Colours guess = first.taken(x, y, mean);
    const Colours g = grain(mean);
    std::array<float, 3> unused;
    Colours f = p.taken(x, y, unused);
    Block squares{};
    for (int t = 0; t < 3; ++t) {
      const float mean_light = f[t][0];
      for (int k = 0; k < kCount; ++k) {
        const float power = guess[t][k] * guess[t][k], share = power / (power + g[t][k]);
        f[t][k] *= share;
        squares[k] += share * share;
      }
      f[t][0] = mean_light;
    }
    squares[0] = 3;
    float all = 0;
    for (float v : squares) all += v;
    weight = 1 / all;
    return given_back(f);
  }

  const Noise& noise_;
  const double left_;
  std::array<std::array<Block, 3>, 3> spectra_;  // Of two channels: the geometric mean of theirs.
};

}  // namespace

Picture degrained(const Picture& picture, const Noise& noise, double left, const Rect& rect) {
  const Rect inside = intersect(rect, picture.window());
  if (left <= 0 || inside.empty() || picture.channels() < 3) return picture.cropped(rect);
  const Degrainer d(noise, left);
  const Picture first = d.pass(picture, nullptr, intersect(inside.grown(kDegrainReach / 2), picture.window()));
  return d.pass(picture, &first, inside);
}

}  // namespace pw
