#include "comp/colour/light_table.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "comp/colour/thin_plate.h"

namespace pw {
namespace {

// A pattern is expected to bend by about kBend stops per cell and cell, and to be about kSize: where only a few frames
// show a place, that keeps apart what they cannot tell apart from growing.
constexpr double kBend = 0.007, kStiffness = 1 / (kBend * kBend), kSize = 0.1, kPull = 1 / (kSize * kSize);
// What no pattern tells is expected to be small, and to matter only near where it was seen.
constexpr double kRestBend = 0.01, kRestStiffness = 1 / (kRestBend * kRestBend), kRestPull = 1 / (0.1 * 0.1);
constexpr double kWorthIt = 0.02;  // A pattern stays when it explains this share of what is left.
constexpr int kSweeps = 4;
constexpr int kPart = 10;  // Nodes along a part of the picture.

using Field = std::vector<double>;

class Filler {
 public:
  Filler(const LightTable& t, const Runner& runner)
      : t_(t), runner_(runner), nodes_(size_t(t.columns) * t.rows), size_(nodes_ * t.channels), trust_(t.weight) {
    for (int c = 0; c < t.channels; ++c) {
      smooth_.emplace_back(t.columns, t.rows, kStiffness, kPull);
      rest_smooth_.emplace_back(t.columns, t.rows, kRestStiffness, kRestPull);
    }
    for (const Field& w : t.weight) shows_.push_back(std::any_of(w.begin(), w.end(), [](double v) { return v > 0; }));
  }

  FilledTable run(int most) {
    const auto shown = std::count(shows_.begin(), shows_.end(), true);
    FilledTable filled{std::vector<Field>(t_.value.size(), Field(size_)), 0};
    if (shown == 0) return filled;
    patterns_.emplace_back(size_);
    strengths_.emplace_back(t_.value.size(), 1.0);
    for (int turn = 0; turn < 3; ++turn) fit_pattern(0), distrust();
    most = std::min<int>(most, static_cast<int>(shown) - 1);
    for (double left = misfit(); static_cast<int>(patterns_.size()) < most;) {
      const auto patterns = patterns_, strengths = strengths_;
      add_pattern();
      for (int turn = 0; turn < kSweeps; ++turn) sweep();
      const double now = misfit();
      if (now > (1 - kWorthIt) * left) {
        patterns_ = patterns, strengths_ = strengths;
        break;
      }
      distrust();
      left = misfit();
    }
    for (int turn = 0; turn < kSweeps; ++turn) sweep(), distrust();
    bridge();
    add_rest(filled);
    filled.patterns = static_cast<int>(patterns_.size());
    return filled;
  }

 private:
  // A smooth field for each channel by itself.
  Field smoothed(std::vector<ThinPlate>& plates, const Field& weight, const Field& weighted) {
    Field out(size_);
    runner_.run(plates.size(), [&](size_t c) {
      const auto part = [&](const Field& f) { return Field(f.begin() + c * nodes_, f.begin() + (c + 1) * nodes_); };
      std::ranges::copy(plates[c].fit(part(weight), part(weighted)), out.begin() + c * nodes_);
    });
    return out;
  }

  double model(size_t f, size_t i) const {
    double sum = 0;
    for (size_t k = 0; k < patterns_.size(); ++k) sum += strengths_[k][f] * patterns_[k][i];
    return sum;
  }

  double misfit() const {
    double sum = 0;
    for (size_t f = 0; f < trust_.size(); ++f)
      for (size_t i = 0; i < size_; ++i)
        if (trust_[f][i] > 0) sum += trust_[f][i] * std::pow(t_.value[f][i] - model(f, i), 2);
    return sum;
  }

  // What the patterns leave of a frame, less its median over the part of the picture a node belongs to, in standard
  // deviations: a change of light takes in whole parts, what passes in front does not. 0 where nothing is known.
  Field off(size_t f) const {
    Field rest(size_), result(size_);
    for (size_t i = 0; i < size_; ++i) rest[i] = t_.value[f][i] - model(f, i);
    for (size_t first = 0; first < size_; first += nodes_)
      for (int y0 = 0; y0 < t_.rows; y0 += kPart)
        for (int x0 = 0; x0 < t_.columns; x0 += kPart) {
          std::vector<size_t> part;
          std::vector<double> sorted;
          for (int y = y0; y < std::min(y0 + kPart, t_.rows); ++y)
            for (int x = x0; x < std::min(x0 + kPart, t_.columns); ++x)
              if (const size_t i = first + size_t(y) * t_.columns + x; t_.weight[f][i] > 0)
                part.push_back(i), sorted.push_back(rest[i]);
          if (part.empty()) continue;
          std::nth_element(sorted.begin(), sorted.begin() + sorted.size() / 2, sorted.end());
          for (size_t i : part) result[i] = (rest[i] - sorted[sorted.size() / 2]) * std::sqrt(t_.weight[f][i]);
        }
    return result;
  }

  // Tukey's weights of that: what passes in front, where no matte says so, does not count.
  void distrust() {
    std::vector<Field> offs;
    std::vector<double> sizes;
    for (size_t f = 0; f < trust_.size(); ++f) {
      offs.push_back(off(f));
      for (size_t i = 0; i < size_; ++i)
        if (t_.weight[f][i] > 0) sizes.push_back(std::abs(offs[f][i]));
    }
    if (sizes.empty()) return;
    std::nth_element(sizes.begin(), sizes.begin() + sizes.size() / 2, sizes.end());
    const double most = 6 * std::max(0.5, 1.4826 * sizes[sizes.size() / 2]);
    for (size_t f = 0; f < trust_.size(); ++f)
      for (size_t i = 0; i < size_; ++i) {
        const double r = offs[f][i] / most;
        trust_[f][i] = std::abs(r) < 1 ? t_.weight[f][i] * (1 - r * r) * (1 - r * r) : 0;
      }
  }

  void fit_pattern(size_t k) {
    Field weight(size_), weighted(size_);
    for (size_t f = 0; f < trust_.size(); ++f) {
      const double a = strengths_[k][f];
      for (size_t i = 0; i < size_; ++i) {
        if (trust_[f][i] <= 0) continue;
        const double rest = t_.value[f][i] - model(f, i) + a * patterns_[k][i];
        weight[i] += trust_[f][i] * a * a, weighted[i] += trust_[f][i] * a * rest;
      }
    }
    patterns_[k] = smoothed(smooth_, weight, weighted);
  }

  // All strengths of a frame but the constant one; expected to be about 1, which is what a pattern is scaled to.
  void fit_strengths(size_t f) {
    const Eigen::Index n = Eigen::Index(patterns_.size()) - 1;
    Eigen::MatrixXd a = Eigen::MatrixXd::Identity(n, n);
    Eigen::VectorXd b = Eigen::VectorXd::Zero(n), p(n);
    for (size_t i = 0; i < size_; ++i) {
      if (trust_[f][i] <= 0) continue;
      for (Eigen::Index k = 0; k < n; ++k) p[k] = patterns_[size_t(k) + 1][i];
      a += trust_[f][i] * p * p.transpose();
      b += trust_[f][i] * (t_.value[f][i] - patterns_[0][i]) * p;
    }
    const Eigen::VectorXd s = a.ldlt().solve(b);
    for (Eigen::Index k = 0; k < n; ++k) strengths_[size_t(k) + 1][f] = s[k];
  }

  void sweep() {
    for (size_t k = 0; k < patterns_.size(); ++k) fit_pattern(k);
    if (patterns_.size() < 2) return;
    for (size_t f = 0; f < trust_.size(); ++f)
      if (shows_[f]) fit_strengths(f);
    for (size_t k = 1; k < patterns_.size(); ++k) {
      double squares = 0, count = 0;
      for (size_t f = 0; f < trust_.size(); ++f)
        if (shows_[f]) squares += strengths_[k][f] * strengths_[k][f], ++count;
      const double size = std::sqrt(squares / count);
      if (size < 1e-12) continue;
      for (double& s : strengths_[k]) s /= size;
      for (double& p : patterns_[k]) p *= size;
    }
  }

  // Begins as what is left over, smooth, in the frame in which most is left over.
  void add_pattern() {
    size_t worst = 0;
    double most = -1;
    for (size_t f = 0; f < trust_.size(); ++f) {
      double sum = 0;
      for (size_t i = 0; i < size_; ++i)
        if (trust_[f][i] > 0) sum += trust_[f][i] * std::pow(t_.value[f][i] - model(f, i), 2);
      if (shows_[f] && sum > most) most = sum, worst = f;
    }
    Field weighted(size_);
    for (size_t i = 0; i < size_; ++i)
      if (trust_[worst][i] > 0) weighted[i] = trust_[worst][i] * (t_.value[worst][i] - model(worst, i));
    patterns_.push_back(smoothed(smooth_, trust_[worst], weighted));
    strengths_.emplace_back(t_.value.size(), 0.0);
    for (size_t f = 0; f < trust_.size(); ++f)
      if (shows_[f]) fit_strengths(f);
  }

  // Strengths of frames that show nothing, between those of the nearest that do.
  void bridge() {
    const int n = static_cast<int>(shows_.size());
    for (int f = 0; f < n; ++f) {
      if (shows_[f]) continue;
      int before = f, after = f;
      while (before >= 0 && !shows_[before]) --before;
      while (after < n && !shows_[after]) ++after;
      for (std::vector<double>& s : strengths_)
        s[f] = before < 0   ? s[after]
               : after >= n ? s[before]
                            : (s[before] * (after - f) + s[after] * (f - before)) / (after - before);
    }
  }

  void add_rest(FilledTable& filled) {
    for (size_t f = 0; f < trust_.size(); ++f) {
      Field rest(size_);
      for (size_t i = 0; i < size_; ++i)
        if (trust_[f][i] > 0) rest[i] = trust_[f][i] * (t_.value[f][i] - model(f, i));
      if (shows_[f]) rest = smoothed(rest_smooth_, trust_[f], rest);
      for (size_t i = 0; i < size_; ++i) filled.value[f][i] = model(f, i) + rest[i];
    }
  }

  const LightTable& t_;
  const Runner& runner_;
  const size_t nodes_, size_;                    // Of one channel, of all.
  std::vector<ThinPlate> smooth_, rest_smooth_;  // One for each channel.
  std::vector<Field> trust_;
  std::vector<bool> shows_;
  std::vector<Field> patterns_;                 // [pattern][column]; the first is the constant one.
  std::vector<std::vector<double>> strengths_;  // [pattern][frame]
};

}  // namespace

FilledTable fill(const LightTable& table, int most_patterns, const Runner& runner) {
  return Filler(table, runner).run(most_patterns);
}

}  // namespace pw
