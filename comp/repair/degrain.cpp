#include "comp/repair/degrain.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
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
Block product(const Block& a, const Block& b) {
  f8 rows[kSide], sums[kSide];
  std::memcpy(rows, b.data(), sizeof rows);
  for (int i = 0; i < kSide; ++i) {
    f8 sum{};
    for (int k = 0; k < kSide; ++k) {
      const float v = a[i * kSide + k];
      sum += f8{v, v, v, v, v, v, v, v} * rows[k];
    }
    sums[i] = sum;
  }
  Block out;
  std::memcpy(out.data(), sums, sizeof sums);
  return out;
}

// m * in * m^T.
Block sandwiched(const Block& m, const Block& mt, const Block& in) { return product(product(m, in), mt); }
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
    const Rect w = picture.window();
    Canvas out = Canvas::copy(picture, rect);
    Canvas sum = Canvas::clear(rect, 4);  // Three colours and the weight.
    const int channels = picture.channels();
    for (int y = std::max(w.y0, rect.y0 - kSide + 1); y < rect.y1 && y + kSide <= w.y1; ++y)
      for (int x = std::max(w.x0, rect.x0 - kSide + 1); x < rect.x1 && x + kSide <= w.x1; ++x) {
        if (channels == 4 && !opaque(picture, x, y)) continue;
        float weight;
        const Colours patch = first ? second_look(picture, *first, x, y, weight) : first_look(picture, x, y, weight);
        const Rect part = intersect(rect, {x, y, x + kSide, y + kSide});
        for (int v = part.y0; v < part.y1; ++v)
          for (int u = part.x0; u < part.x1; ++u) {
            float* s = sum.at(u, v);
            const int i = (v - y) * kSide + u - x;
            for (int c = 0; c < 3; ++c) s[c] += weight * patch[c][i];
            s[3] += weight;
          }
      }
    for (int y = rect.y0; y < rect.y1; ++y)
      for (int x = rect.x0; x < rect.x1; ++x) {
        const float* s = sum.at(x, y);
        if (s[3] > 0)
          for (int c = 0; c < 3; ++c) out.at(x, y)[c] = s[c] / s[3];
      }
    return std::move(out).finish();
  }

 private:
  static bool opaque(const Picture& p, int x, int y) {
    for (int v = 0; v < kSide; ++v)
      for (int u = 0; u < kSide; ++u)
        if (p.at(x + u, y + v)[3] < 0.999f) return false;
    return true;
  }

  // Coefficients, and the mean brightness of each channel.
  static Colours taken(const Picture& p, int x, int y, std::array<float, 3>& mean) {
    Colours turned{};
    mean = {};
    for (int v = 0; v < kSide; ++v) {
      const float* in = p.at(x, y + v);
      for (int u = 0; u < kSide; ++u, in += p.channels())
        for (int c = 0; c < 3; ++c) {
          mean[c] += in[c] / kCount;
          for (int t = 0; t < 3; ++t) turned[t][v * kSide + u] += kTurn[t][c] * in[c];
        }
    }
    for (Block& b : turned) b = forward(b);
    return turned;
  }

  static Colours given_back(const Colours& coefficients) {
    Colours out{};
    for (int t = 0; t < 3; ++t) {
      const Block b = backward(coefficients[t]);
      for (int c = 0; c < 3; ++c)
        for (int i = 0; i < kCount; ++i) out[c][i] += kTurn[t][c] * b[i];
    }
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
          const float both = kTurn[t][i] * kTurn[t][j] * sigma[i] * sigma[j] * static_cast<float>(noise_.between[i][j]);
          for (int k = 0; k < kCount; ++k) g[t][k] += both * spectra_[i][j][k];
        }
    for (Block& b : g)
      for (float& v : b) v = std::max(v, 1e-20f);
    return g;
  }

  Colours first_look(const Picture& p, int x, int y, float& weight) const {
    std::array<float, 3> mean;
    Colours f = taken(p, x, y, mean);
    const Colours g = grain(mean);
    int kept = 0;
    for (int t = 0; t < 3; ++t)
      for (int k = 1; k < kCount; ++k) {
        if (f[t][k] * f[t][k] < kThreshold * kThreshold * g[t][k])
          f[t][k] = 0;
        else
          ++kept;
      }
    weight = 1 / static_cast<float>(1 + kept);
    return given_back(f);
  }

  Colours second_look(const Picture& p, const Picture& first, int x, int y, float& weight) const {
    std::array<float, 3> mean;
    const Colours guess = taken(first, x, y, mean);
    const Colours g = grain(mean);
    std::array<float, 3> unused;
    Colours f = taken(p, x, y, unused);
    float squares = 0;
    for (int t = 0; t < 3; ++t)
      for (int k = 0; k < kCount; ++k) {
        const float power = guess[t][k] * guess[t][k], share = k ? power / (power + g[t][k]) : 1.f;
        f[t][k] *= share;
        squares += share * share;
      }
    weight = 1 / std::max(1e-3f, squares);
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
