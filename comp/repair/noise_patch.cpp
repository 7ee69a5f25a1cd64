#include "comp/repair/noise_patch.h"

#include <algorithm>
#include <cmath>
#include <optional>

namespace pw {
namespace {

constexpr double kFarOff = 0.4;         // Pixels: where the motion is further from a whole pixel nothing is asked.
constexpr double kTextureShare = 0.02;  // Most of the difference's variance that texture may explain.
constexpr float kClip = 2.5f, kWithin = 0.91124f;  // The mean square of normal numbers within kClip.
constexpr float kFarthest = 6;                     // Sigmas: what strays further counts as this.
constexpr int kSide = Patch::kSide, kCount = kSide * kSide;

struct Place {
  int x, y, dx, dy;       // The patch's corner in a, and where it lies in b from there.
  double rest_x, rest_y;  // The most that is left over within it.
};

bool hidden(const Picture& matte, int x, int y) {
  const Rect r = intersect(matte.window(), {x, y, x + kSide, y + kSide});
  for (int v = r.y0; v < r.y1; ++v)
    for (int u = r.x0; u < r.x1; ++u)
      if (*matte.at(u, v) > 0) return true;
  return false;
}

std::optional<Place> place_of(const FramePair& pair, int x, int y) {
  const auto moved = [&](double u, double v) { return Point(map(pair.b_from_a, Point(u, v)) - Point(u, v)); };
  const Point middle = moved(x + kSide / 2.0, y + kSide / 2.0);
  if (!(middle.cwiseAbs().maxCoeff() < 1e5)) return std::nullopt;
  Place p{x, y, static_cast<int>(std::lround(middle.x())), static_cast<int>(std::lround(middle.y())), 0, 0};
  for (int corner = 0; corner < 4; ++corner) {
    const Point d = moved(x + kSide * (corner & 1), y + kSide * (corner >> 1));
    p.rest_x = std::max(p.rest_x, std::abs(d.x() - p.dx)), p.rest_y = std::max(p.rest_y, std::abs(d.y() - p.dy));
  }
  if (!(p.rest_x < kFarOff && p.rest_y < kFarOff)) return std::nullopt;
  // One pixel more on all sides, for slopes.
  const Rect here{x - 1, y - 1, x + kSide + 1, y + kSide + 1};
  const Rect there{here.x0 + p.dx, here.y0 + p.dy, here.x1 + p.dx, here.y1 + p.dy};
  if (!pair.a.window().contains(here) || !pair.b.window().contains(there)) return std::nullopt;
  if (hidden(pair.ignore_a, x, y) || hidden(pair.ignore_b, x + p.dx, y + p.dy)) return std::nullopt;
  return p;
}

// Variance that the rest of the motion can put into the difference: slopes of the mean of both frames, over two pixels
// and the mean of three rows, which leaves little of the grain.
double texture_variance(const FramePair& pair, const Place& p, int c) {
  const auto sum = [&](int x, int y) { return 0.5 * (pair.a.at(x, y)[c] + pair.b.at(x + p.dx, y + p.dy)[c]); };
  double xx = 0, yy = 0;
  for (int y = p.y; y < p.y + kSide; y += 2)
    for (int x = p.x; x < p.x + kSide; x += 2) {
      double gx = 0, gy = 0;
      for (int k = -1; k <= 1; ++k) {
        gx += sum(x + 1, y + k) - sum(x - 1, y + k);
        gy += sum(x + k, y + 1) - sum(x + k, y - 1);
      }
      xx += gx * gx / 36, yy += gy * gy / 36;
    }
  return (xx * p.rest_x * p.rest_x + yy * p.rest_y * p.rest_y) / (kCount / 4.0);
}

struct Spread {
  float sigma, stray;
};

// The difference less its middle; what lies beyond 2.5 sigma does not count for sigma.
Spread robust(std::array<float, kCount>& d) {
  std::array<float, kCount> sorted = d;
  std::nth_element(sorted.begin(), sorted.begin() + kCount / 2, sorted.end());
  float middle = sorted[kCount / 2], squares = 0;
  for (float v : d) squares += (v - middle) * (v - middle);
  float sigma = std::sqrt(squares / kCount);
  int within = kCount;
  for (int turn = 0; turn < 15 && sigma > 0; ++turn) {
    double mean = 0, square = 0;
    within = 0;
    for (float v : d)
      if (std::abs(v - middle) < kClip * sigma) mean += v - middle, square += (v - middle) * (v - middle), ++within;
    if (within == 0) return {0, 1};
    mean /= within;
    middle += static_cast<float>(mean);
    sigma = std::sqrt(static_cast<float>(square / within - mean * mean) / kWithin);
  }
  for (float& v : d) v = std::clamp(v - middle, -kFarthest * sigma, kFarthest * sigma);
  return {sigma, 1 - static_cast<float>(within) / kCount};
}

// Whether the patch tells the grain; fills `bound` in any case.
bool look(const FramePair& pair, const Place& p, Patch& patch, GrainBound& bound) {
  std::array<std::array<float, kCount>, 3> d;
  bool any = false;
  std::array<float, 3> spread{};
  for (int c = 0; c < 3; ++c) {
    double sum = 0;
    int at_end = 0, same = 0;
    for (int y = 0, i = 0; y < kSide; ++y)
      for (int x = 0; x < kSide; ++x, ++i) {
        const float a = pair.a.at(p.x + x, p.y + y)[c], b = pair.b.at(p.x + x + p.dx, p.y + y + p.dy)[c];
        at_end += (a == 0) + (b == 0) + (a == 1) + (b == 1);
        same += a == b;
        d[c][i] = b - a;
        sum += a + b;
      }
    patch.brightness[c] = static_cast<float>(sum / (2 * kCount));
    const Spread found = robust(d[c]);
    spread[c] = found.sigma;
    const double texture = texture_variance(pair, p, c) / std::max(1e-30f, spread[c] * spread[c]);
    patch.texture = std::max(patch.texture, static_cast<float>(std::min(texture, 1.0)));
    patch.stray = std::max(patch.stray, found.stray);
    const bool seen = spread[c] > 0 && at_end <= kCount / 50 && patch.brightness[c] > 0;
    if (seen) bound.brightness[c] = patch.brightness[c], bound.sigma[c] = spread[c] * std::sqrt(0.5f);
    const bool told = seen && texture < kTextureShare;
    if (told) patch.same = std::max(patch.same, static_cast<float>(same) / kCount);
    patch.sigma[c] = told ? bound.sigma[c] : 0;
    any = any || told;
  }
  if (!any) return false;
  std::array<float, 3> square{};
  for (int c = 0; c < 3; ++c) {
    for (float v : d[c]) square[c] += v * v / kCount;
    square[c] = std::max(1e-30f, square[c]);
    patch.variance[c] = square[c] / 2;
    int lag = 0;
    for (int y = 0; y <= Patch::kReach; ++y)
      for (int x = y ? -Patch::kReach : 0; x <= Patch::kReach; ++x, ++lag) {
        double sum = 0;
        const int from = std::max(0, -x), to = kSide - std::max(0, x);
        for (int v = 0; v + y < kSide; ++v)
          for (int u = from; u < to; ++u) sum += d[c][v * kSide + u] * d[c][(v + y) * kSide + u + x];
        patch.spatial[c][lag] = static_cast<float>(sum / ((kSide - y) * (to - from))) / square[c];
      }
  }
  constexpr int kPairs[3][2] = {{0, 1}, {0, 2}, {1, 2}};
  for (int k = 0; k < 3; ++k) {
    const auto [i, j] = kPairs[k];
    double sum = 0;
    for (int n = 0; n < kCount; ++n) sum += d[i][n] * d[j][n];
    patch.between[k] = static_cast<float>(sum / kCount) / std::sqrt(square[i] * square[j]);
  }
  return true;
}

std::optional<Triplet> look(const FramePair* pairs[2], const Place places[2]) {
  std::array<std::array<std::array<double, 3>, 3>, kCount> d;  // [pixel][frame][channel]
  Triplet t;
  t.x = places[0].x + kSide / 2.0, t.y = places[0].y + kSide / 2.0;
  for (int c = 0; c < 3; ++c) {
    int at_end = 0;
    double all = 0;
    for (int n = 0; n < 3; ++n) {
      const Picture& from = n == 0 ? pairs[0]->a : pairs[n - 1]->b;
      const int dx = n == 0 ? 0 : places[n - 1].dx, dy = n == 0 ? 0 : places[n - 1].dy;
      double sum = 0;
      for (int y = 0, i = 0; y < kSide; ++y)
        for (int x = 0; x < kSide; ++x, ++i) {
          const float v = from.at(places[0].x + x + dx, places[0].y + y + dy)[c];
          at_end += v == 0 || v == 1;
          sum += d[i][n][c] = v;
        }
      for (auto& pixel : d) pixel[n][c] -= sum / kCount;
      all += sum;
    }
    if (at_end > kCount / 50 || !(all > 0)) return std::nullopt;
    t.brightness[c] = static_cast<float>(all / (3 * kCount));
  }
  std::array<double, 3> own{};
  for (auto& pixel : d) {
    std::array<double, 3> mean{};
    for (const auto& frame : pixel)
      for (int c = 0; c < 3; ++c) mean[c] += frame[c] / 3;
    for (const auto& frame : pixel) {
      double sum = 0;
      for (int c = 0; c < 3; ++c) sum += frame[c] - mean[c];
      // Of three numbers: 1/2 and 3/2 make the moments unbiased.
      t.second += 0.5 * sum * sum / kCount, t.third += 1.5 * sum * sum * sum / kCount;
      for (int c = 0; c < 3; ++c) {
        t.with[c] += 0.5 * sum * (frame[c] - mean[c]) / kCount;
        own[c] += 0.5 * (frame[c] - mean[c]) * (frame[c] - mean[c]) / kCount;
      }
    }
  }
  for (int c = 0; c < 3; ++c)
    for (int n = 0; n < 2; ++n)
      if (!(texture_variance(*pairs[n], places[n], c) < 2 * kTextureShare * own[c])) return std::nullopt;
  return t;
}

}  // namespace

FoundPatches find_patches(const FramePair& pair, const Runner& runner) {
  std::vector<Place> places;
  if (pair.a.channels() < 3 || pair.b.channels() < 3) return {};
  const Rect w = pair.a.window();
  for (int y = w.y0 + 1; y + kSide < w.y1; y += kSide)
    for (int x = w.x0 + 1; x + kSide < w.x1; x += kSide)
      if (const auto p = place_of(pair, x, y)) places.push_back(*p);
  const size_t count = std::min(kMostPatches, places.size());
  std::vector<std::optional<Patch>> looked(count);
  FoundPatches found;
  found.bounds.resize(count);
  runner.run(count, [&](size_t i) {
    Patch patch;
    if (look(pair, places[i * places.size() / count], patch, found.bounds[i])) looked[i] = patch;
  });
  for (const auto& p : looked)
    if (p) found.patches.push_back(*p);
  return found;
}

std::vector<Triplet> find_triplets(const FramePair& before, const FramePair& after, const Runner& runner) {
  if (before.a.channels() < 3 || before.b.channels() < 3 || after.b.channels() < 3) return {};
  const FramePair* pairs[2] = {&before, &after};
  std::vector<std::array<Place, 2>> places;
  const Rect w = before.a.window();
  for (int y = w.y0 + 1; y + kSide < w.y1; y += kSide)
    for (int x = w.x0 + 1; x + kSide < w.x1; x += kSide) {
      const auto p = place_of(before, x, y), q = place_of(after, x, y);
      if (p && q) places.push_back({*p, *q});
    }
  const size_t count = std::min(kMostPatches, places.size());
  std::vector<std::optional<Triplet>> looked(count);
  runner.run(count, [&](size_t i) { looked[i] = look(pairs, places[i * places.size() / count].data()); });
  std::vector<Triplet> found;
  for (const auto& t : looked)
    if (t) found.push_back(*t);
  return found;
}

}  // namespace pw
