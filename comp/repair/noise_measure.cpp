#include "comp/repair/noise_measure.h"

#include <algorithm>
#include <cmath>

#include "base/surroundings.h"
#include "comp/repair/noise_patch.h"
#include "comp/repair/noise_rain.h"
#include "comp/repair/noise_streaks.h"

namespace pw {
namespace {

constexpr int kPairs = 40;      // Pairs of frames looked at,
constexpr int kTriplets = 12;   // and in rain as many threes.
constexpr int kMostBins = 14;   // Levels along brightness,
constexpr size_t kFewest = 24;  // each from this many patches or more.
// Patches with more strays than this have something in them that is not grain: twice and a half what is usual. Left out
// unless nearly all are like that, when the grain itself is not normal.
constexpr float kStrays = 8.5f / (Patch::kSide * Patch::kSide);
constexpr double kCalmShare = 0.1;
// Half of the pixels of a patch come to the same code value twice when the grain's sigma is half a step of the code.
// Below that rounding is no noise of its own (B. Widrow, I. Kollar, "Quantization Noise", 2008, from memory: from half
// a step on its error is as good as independent of the picture), and what hangs together there is the picture's gentle
// slopes.
constexpr float kRounded = 0.5f;
constexpr float kNoTexture = 0.004f;  // Patches that tell correlations.
constexpr double kLeastGrain = 0.05;  // Of the variance under rain: less cannot be told.
constexpr float kTooMuch = 2;
constexpr double kDryZero = 0.06;  // Nor can smaller correlations,
constexpr double kDoubt = 0.2;     // nor those within this share of the streaks' own.
constexpr double kAtMode = 0.35;   // Patches within this of the curve, in the logarithm of sigma, tell correlations.

// A level is too high when so large a share of what bounds it lies so far below it. Of 256 normal numbers each a tenth
// of the bounds lies 6 % below their middle.
constexpr double kBoundShare = 0.1, kBelow = 0.85;

// Correlations smaller than this cannot be told from none, nor seen.
double no_correlation(double patches) {
  return std::max(0.01, 3 / std::sqrt(std::max(1.0, patches) * Patch::kSide * Patch::kSide));
}

std::vector<Patch> calm(std::vector<Patch> patches) {
  const auto few = [](const Patch& p) { return p.stray <= kStrays; };
  const auto count = std::count_if(patches.begin(), patches.end(), few);
  if (static_cast<double>(count) < kCalmShare * static_cast<double>(patches.size())) return patches;
  std::erase_if(patches, [&](const Patch& p) { return !few(p); });
  return patches;
}

// The patches that can tell correlations and streaks: none when rounding hides the grain of most.
std::vector<Patch> grainy(const std::vector<Patch>& patches) {
  std::vector<Patch> some;
  for (const Patch& p : patches)
    if (p.same <= kRounded) some.push_back(p);
  return 2 * some.size() < patches.size() ? std::vector<Patch>{} : some;
}

// Pairs (f, f + step), spread over the shot; steps 1, 2 and 3 in turn.
std::vector<std::pair<int, int>> pairs_of(int first, int last) {
  std::vector<std::pair<int, int>> all, some;
  for (int f = first; f <= last; ++f)
    for (int step = 1; step <= 3; ++step)
      if (f + step <= last) all.emplace_back(f, f + step);
  const size_t n = std::min<size_t>(kPairs, all.size());
  for (size_t i = 0; i < n; ++i) some.push_back(all[i * all.size() / n]);
  return some;
}

// The densest place of sorted numbers.
double half_sample_mode(const double* a, size_t n) {
  while (n > 3) {
    const size_t half = (n + 1) / 2;
    size_t best = 0;
    for (size_t i = 1; i + half <= n; ++i)
      if (a[i + half - 1] - a[i] < a[best + half - 1] - a[best]) best = i;
    a += best, n = half;
  }
  if (n == 3) return a[1] - a[0] < a[2] - a[1] ? (a[0] + a[1]) / 2 : (a[1] + a[2]) / 2;
  return n == 2 ? (a[0] + a[1]) / 2 : a[0];
}

// The mean of those near the mode: the mode alone jumps about.
struct Level {
  double brightness = 0, sigma = 0;
  size_t count = 0;
};

Level level_of(const std::vector<const Patch*>& patches, int c) {
  std::vector<double> logs;
  for (const Patch* p : patches) logs.push_back(std::log(p->sigma[c]));
  std::sort(logs.begin(), logs.end());
  double middle = half_sample_mode(logs.data(), logs.size());
  for (int turn = 0; turn < 8; ++turn) {  // Mean shift with a window that takes in all of a clean patch's spread.
    double sum = 0;
    int count = 0;
    for (double l : logs)
      if (std::abs(l - middle) < 0.2) sum += l, ++count;
    if (count) middle = sum / count;
  }
  Level level;
  double squares = 0;
  for (const Patch* p : patches) {
    if (std::abs(std::log(p->sigma[c]) - middle) >= 0.2) continue;
    level.brightness += p->brightness[c];
    squares += p->sigma[c] * p->sigma[c];
    ++level.count;
  }
  level.brightness /= static_cast<double>(level.count);
  level.sigma = std::sqrt(squares / static_cast<double>(level.count));
  return level;
}

// Under rain: the patches' plain variance less the streaks' share of it. Patches of more than kTooMuch times the median
// are left out: what does not lie on one another.
Level dry_level(std::vector<const Patch*> patches, int c, const Streaks& streaks) {
  std::vector<float> sizes;
  for (const Patch* p : patches) sizes.push_back(p->variance[c]);
  std::nth_element(sizes.begin(), sizes.begin() + sizes.size() / 2, sizes.end());
  const float most = kTooMuch * sizes[sizes.size() / 2];
  std::erase_if(patches, [&](const Patch* p) { return p->variance[c] > most; });
  Level level;
  level.count = patches.size();
  for (const Patch* p : patches) level.brightness += p->brightness[c] / static_cast<double>(patches.size());
  const Streaks::Group g = streaks.group(patches);
  const double all = g.variance[c] + g.lost[c];
  level.sigma = std::sqrt(std::max(kLeastGrain * all, all - streaks.covariance(g, c, c, 0, 0)));
  return level;
}

std::vector<Level> curve_of(const std::vector<Patch>& patches, int c, const Streaks* streaks) {
  std::vector<const Patch*> sorted;
  for (const Patch& p : patches)
    if (p.sigma[c] > 0) sorted.push_back(&p);
  if (sorted.size() < kFewest) return {};
  std::sort(sorted.begin(), sorted.end(),
            [&](const Patch* a, const Patch* b) { return a->brightness[c] < b->brightness[c]; });
  // Bins of even width in the square root of brightness, joined until each holds enough.
  const double low = std::sqrt(sorted.front()->brightness[c]), high = std::sqrt(sorted.back()->brightness[c]);
  std::vector<Level> curve;
  std::vector<const Patch*> bin;
  int edge = 1;
  for (size_t i = 0; i < sorted.size(); ++i) {
    bin.push_back(sorted[i]);
    const double next = i + 1 < sorted.size() ? std::sqrt(sorted[i + 1]->brightness[c]) : 1e30;
    if (next < low + (high - low) * edge / kMostBins) continue;
    while (edge < kMostBins && next >= low + (high - low) * edge / kMostBins) ++edge;
    if (bin.size() < kFewest && i + 1 < sorted.size()) continue;
    if (bin.size() >= kFewest) curve.push_back(streaks ? dry_level(bin, c, *streaks) : level_of(bin, c));
    bin.clear();
  }
  return curve;
}

// Lowers what patches without texture tell too high: where all of them show something else that moves, those that have
// texture still say that there is less grain. Whether any level was.
bool lower(std::vector<Level>& curve, int c, const std::vector<GrainBound>& bounds) {
  bool lowered = false;
  for (size_t i = 0; i < curve.size(); ++i) {
    const double from = i ? 0.5 * (curve[i - 1].brightness + curve[i].brightness) : 0;
    const double to = i + 1 < curve.size() ? 0.5 * (curve[i].brightness + curve[i + 1].brightness) : 1e30;
    std::vector<float> near;
    for (const GrainBound& b : bounds)
      if (b.sigma[c] > 0 && b.brightness[c] >= from && b.brightness[c] < to) near.push_back(b.sigma[c]);
    if (near.size() < kFewest) continue;
    const auto at = near.begin() + static_cast<ptrdiff_t>(kBoundShare * static_cast<double>(near.size()));
    std::nth_element(near.begin(), at, near.end());
    if (*at >= kBelow * curve[i].sigma) continue;
    curve[i].sigma = *at, lowered = true;
  }
  return lowered;
}

// variance = a * brightness + b through the curve, weighted by the patches; neither below 0.
struct Affine {
  double a = 0, b = 0;
};
Affine affine_of(const std::vector<Level>& curve) {
  Affine law;
  // The relative error of a variance is the same everywhere, so its absolute error goes with the variance: the one that
  // was seen at first, then the law's, lest what came out too small count too much.
  for (int turn = 0; turn < 6; ++turn) {
    double w = 0, x = 0, y = 0, xx = 0, xy = 0;
    for (const Level& l : curve) {
      const double v = l.sigma * l.sigma, expected = turn ? law.a * l.brightness + law.b : v;
      const double weight = std::sqrt(static_cast<double>(l.count)) / (expected * expected);
      w += weight, x += weight * l.brightness, y += weight * v;
      xx += weight * l.brightness * l.brightness, xy += weight * l.brightness * v;
    }
    const double across = w * xx - x * x;
    law.a = across > 1e-9 * w * xx ? (w * xy - x * y) / across : 0;
    law.b = (y - law.a * x) / w;
    if (law.a < 0) law = {0, y / w};
    if (law.b < 0) law = {xy / xx, 0};
  }
  return law;
}

std::vector<Noise::Level> with_ends(const std::vector<Level>& curve) {
  const Affine law = affine_of(curve);
  const auto sigma = [&](double b) { return std::sqrt(law.a * b + law.b); };
  std::vector<Noise::Level> levels;
  // The law, brought to meet the outermost level that was seen.
  const Level &first = curve.front(), &last = curve.back();
  if (first.brightness > 1e-4) levels.push_back({0, sigma(0) * std::min(1.0, first.sigma / sigma(first.brightness))});
  for (const Level& l : curve) levels.push_back({l.brightness, l.sigma});
  if (last.brightness < 1) levels.push_back({1, sigma(1) * last.sigma / sigma(last.brightness)});
  return levels;
}

// Under rain one level alone is less certain than a camera strays from the law, so all of them make the law.
std::vector<Noise::Level> by_law(const std::vector<Level>& curve) {
  const Affine law = affine_of(curve);
  return {{0, std::sqrt(law.b)}, {1, std::sqrt(law.a + law.b)}};
}

bool above(const Patch& p, const Noise& noise) {
  for (int c = 0; c < 3; ++c)
    if (p.sigma[c] > 0 && std::log(p.sigma[c] / noise.sigma(c, p.brightness[c])) > kAtMode) return true;
  return false;
}

// Correlations from the patches whose sigma lies at the curve. A patch's own mean was taken off it, which takes the
// mean of all correlations, S / N, off each: put back, S being what they then sum to. `sum`: all lags of the patch
// counted.
void correlate(const std::vector<Patch>& patches, Noise& noise) {
  constexpr int kReach = Patch::kReach, kWide = 2 * kReach + 1;
  constexpr double kCount = Patch::kSide * Patch::kSide;
  const bool smooth = std::count_if(patches.begin(), patches.end(),
                                    [](const Patch& p) { return p.texture < kNoTexture; }) > 4 * int(kFewest);
  const float most_texture = smooth ? kNoTexture : 1.f;
  const auto at_curve = [&](const Patch& p, int c) {
    return p.sigma[c] > 0 && p.texture < most_texture &&
           std::abs(std::log(p.sigma[c] / noise.sigma(c, p.brightness[c]))) < kAtMode;
  };
  int reach = 0;
  std::array<std::vector<double>, 3> spatial;
  for (int c = 0; c < 3; ++c) {
    std::array<double, Patch::kLags> mean{};
    double count = 0;
    for (const Patch& p : patches) {
      if (!at_curve(p, c)) continue;
      ++count;
      for (int l = 0; l < Patch::kLags; ++l) mean[l] += p.spatial[c][l];
    }
    spatial[c].assign(kWide * kWide, 0);
    spatial[c][kReach * kWide + kReach] = 1;
    if (count == 0) continue;
    for (double& m : mean) m /= count;
    double sum = 1;
    for (int turn = 0; turn < 20; ++turn) {
      double all = 1;
      for (int l = 1; l < Patch::kLags; ++l) {
        const double r = (mean[l] + sum / kCount) / (mean[0] + sum / kCount);
        all += 2 * (std::abs(r) > no_correlation(count) ? r : 0);
      }
      sum = std::max(0.0, all);
    }
    for (int y = 0, l = 0; y <= kReach; ++y)
      for (int x = y ? -kReach : 0; x <= kReach; ++x, ++l) {
        if (l == 0) continue;
        const double r = (mean[l] + sum / kCount) / (mean[0] + sum / kCount);
        if (std::abs(r) <= no_correlation(count)) continue;
        reach = std::max({reach, y, std::abs(x)});
        spatial[c][(kReach + y) * kWide + kReach + x] = spatial[c][(kReach - y) * kWide + kReach - x] = r;
      }
  }
  noise.reach = reach;
  for (int c = 0; c < 3; ++c) {
    noise.spatial[c].clear();
    for (int y = -reach; y <= reach; ++y)
      for (int x = -reach; x <= reach; ++x) noise.spatial[c].push_back(spatial[c][(kReach + y) * kWide + kReach + x]);
  }
  constexpr int kChannels[3][2] = {{0, 1}, {0, 2}, {1, 2}};
  for (int k = 0; k < 3; ++k) {
    const auto [i, j] = kChannels[k];
    double mean = 0, count = 0;
    for (const Patch& p : patches)
      if (at_curve(p, i) && at_curve(p, j)) mean += p.between[k], ++count;
    mean /= std::max(1.0, count);
    noise.between[i][j] = noise.between[j][i] =
        std::abs(mean) > no_correlation(count) ? std::clamp(mean, -1.0, 1.0) : 0;
  }
}

// Of a covariance and the streaks' share of it the correlation that is the grain's; 0 when it cannot be told from none.
double dry(double all, double streaks, double variance) {
  const double r = (all - streaks) / variance;
  return std::abs(r) < std::max(kDryZero, kDoubt * streaks / variance) ? 0 : std::clamp(r, -1.0, 1.0);
}

// The same under rain: what the streaks leave of the covariances of all patches.
void correlate_dry(const std::vector<Patch>& patches, const Streaks& streaks, Noise& noise) {
  constexpr int kReach = 2, kWide = 2 * kReach + 1;  // Further out all is taken for the streaks'.
  std::vector<const Patch*> all;
  for (const Patch& p : patches)
    if (p.sigma[0] > 0 && p.sigma[1] > 0 && p.sigma[2] > 0) all.push_back(&p);
  // Of those, the ones without too much in any channel, against the median of what there is over the grain's own.
  for (int c = 0; c < 3; ++c) {
    const auto over = [&](const Patch* p) { return p->variance[c] / std::pow(noise.sigma(c, p->brightness[c]), 2); };
    std::vector<double> sizes;
    for (const Patch* p : all) sizes.push_back(over(p));
    if (sizes.empty()) return;
    std::nth_element(sizes.begin(), sizes.begin() + sizes.size() / 2, sizes.end());
    const double most = kTooMuch * sizes[sizes.size() / 2];
    std::erase_if(all, [&](const Patch* p) { return over(p) > most; });
  }
  if (all.empty()) return;
  const Streaks::Group g = streaks.group(all);
  std::array<double, 3> grain;
  for (int c = 0; c < 3; ++c) {
    const double whole = g.variance[c] + g.lost[c];
    grain[c] = std::max(kLeastGrain * whole, whole - streaks.covariance(g, c, c, 0, 0));
  }
  const double share = 1 / static_cast<double>(all.size());
  noise.reach = 0;
  std::array<std::vector<double>, 3> spatial;
  for (int c = 0; c < 3; ++c) {
    spatial[c].assign(kWide * kWide, 0);
    spatial[c][kReach * kWide + kReach] = 1;
    for (int y = 0; y <= kReach; ++y)
      for (int x = y ? -kReach : 1; x <= kReach; ++x) {
        double sum = g.lost[c];
        for (const Patch* p : all) sum += share * p->variance[c] * p->spatial[c][Patch::lag(x, y)];
        const double r = dry(sum, streaks.covariance(g, c, c, x, y), grain[c]);
        spatial[c][(kReach + y) * kWide + kReach + x] = spatial[c][(kReach - y) * kWide + kReach - x] = r;
      }
  }
  // Of wide and slanted streaks something is left. Grain would have it mirrored and turned by a right angle too, and
  // nothing at two pixels that is not there at one.
  const auto least = [](double a, double b) { return a * b <= 0 ? 0 : std::abs(a) < std::abs(b) ? a : b; };
  const auto at = [&](int c, int x, int y) {
    const auto seen = [&](int u, int v) { return spatial[c][(kReach + v) * kWide + kReach + u]; };
    const auto even = [&](int u, int v) {
      return least(least(seen(u, v), seen(-u, v)), least(seen(v, u), seen(-v, u)));
    };
    return even(x / 2, y / 2) == 0 ? 0 : even(x, y);
  };
  for (int c = 0; c < 3; ++c)
    for (int y = 0; y <= kReach; ++y)
      for (int x = 0; x <= kReach; ++x)
        if (at(c, x, y) != 0) noise.reach = std::max({noise.reach, x, y});
  for (int c = 0; c < 3; ++c) {
    noise.spatial[c].clear();
    for (int y = -noise.reach; y <= noise.reach; ++y)
      for (int x = -noise.reach; x <= noise.reach; ++x) noise.spatial[c].push_back(at(c, x, y));
  }
  constexpr int kChannels[3][2] = {{0, 1}, {0, 2}, {1, 2}};
  for (int k = 0; k < 3; ++k) {
    const auto [i, j] = kChannels[k];
    double sum = std::sqrt(g.lost[i] * g.lost[j]);
    for (const Patch* p : all) sum += share * p->between[k] * std::sqrt(double(p->variance[i]) * p->variance[j]);
    // Streaks are alike in all channels: what seems to differ is what was taken off too much.
    noise.between[i][j] = noise.between[j][i] =
        std::max(0.0, dry(sum, streaks.covariance(g, i, j, 0, 0), std::sqrt(grain[i] * grain[j])));
  }
}

// Middle frames of triplets, spread over the shot.
std::vector<int> middles_of(int first, int last) {
  std::vector<int> some;
  const int all = last - first - 1, n = std::min(kTriplets, all);
  for (int i = 0; i < n; ++i) some.push_back(first + 1 + static_cast<int>(int64_t{i} * all / n));
  return some;
}

FramePair pair_of(const NoiseFrames& frames, int f, int g, const Matrix3& there) {
  return {frames.image(f), frames.image(g), frames.ignore(f), frames.ignore(g), there};
}

// Homography that takes frame f to frame g.
std::optional<Matrix3> way(const Motion* motion, int f, int g) {
  if (!motion) return Matrix3(Matrix3::Identity());
  // What is carried over from other frames is not known to the part of a pixel that it takes here.
  const auto seen = [&](int frame) {
    const Pose* p = motion->find(frame);
    return p && p->seen();
  };
  return seen(f) && seen(g) ? motion->between(g, f) : std::nullopt;
}

}  // namespace

std::optional<Noise> measure_noise(const NoiseFrames& frames, const Motion* motion, const Runner& runner,
                                   const std::function<bool(int done, int total)>& progress) {
  std::vector<Patch> patches;
  std::vector<GrainBound> bounds;
  const auto pairs = pairs_of(frames.first(), frames.last());
  const auto middles = middles_of(frames.first(), frames.last());
  const int steps = static_cast<int>(pairs.size() + middles.size());
  for (size_t i = 0; i < pairs.size(); ++i) {
    const auto [f, g] = pairs[i];
    if (const auto there = way(motion, f, g)) {
      const FoundPatches found = find_patches(pair_of(frames, f, g, *there), runner);
      patches.insert(patches.end(), found.patches.begin(), found.patches.end());
      bounds.insert(bounds.end(), found.bounds.begin(), found.bounds.end());
    }
    if (!progress(static_cast<int>(i) + 1, steps)) return std::nullopt;
  }

  patches = calm(std::move(patches));
  Noise noise;
  bool lowered = false;
  for (int c = 0; c < 3; ++c) {
    std::vector<Level> curve = curve_of(patches, c, nullptr);
    if (curve.empty()) return std::nullopt;
    lowered = lower(curve, c, bounds) || lowered;
    noise.levels[c] = with_ends(curve);
  }
  // What was told too high tells nothing else either; under rain the patches with less of it are left.
  if (lowered) std::erase_if(patches, [&](const Patch& p) { return above(p, noise); });
  const std::vector<Patch> telling = grainy(patches);
  std::vector<const Patch*> all;
  for (const Patch& p : telling) all.push_back(&p);
  const std::optional<Streaks> streaks = Streaks::find(all);
  if (!streaks) {
    correlate(telling, noise);
    return noise;
  }
  for (int c = 0; c < 3; ++c)
    if (const std::vector<Level> curve = curve_of(patches, c, &*streaks); !curve.empty())
      noise.levels[c] = by_law(curve);
  correlate_dry(telling, *streaks, noise);
  std::vector<RainPatch> rainy;
  for (size_t i = 0; i < middles.size(); ++i) {
    const int f = middles[i];
    const auto back = way(motion, f, f - 1), on = way(motion, f, f + 1);
    if (back && on) {
      const FramePair before = pair_of(frames, f, f - 1, *back);
      const FramePair after{before.a, frames.image(f + 1), before.ignore_a, frames.ignore(f + 1), *on};
      const Surroundings around = around_drops(before.a, before.a.window());
      for (const Triplet& t : find_triplets(before, after, runner)) rainy.push_back({t, around.at(t.x, t.y)});
    }
    if (!progress(static_cast<int>(pairs.size() + i) + 1, steps)) return std::nullopt;
  }
  noise.rain = rain_share(rainy, noise);
  return noise;
}

}  // namespace pw
