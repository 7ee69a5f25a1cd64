#include "comp/colour/light_table.h"

#include <Eigen/Dense>
#include <algorithm>
#include <bit>
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

// Of sizes, one by one, in little room: the middle one, to a 4000th of itself.
class Middle {
 public:
  void add(float size) { ++count_[std::bit_cast<uint32_t>(size) >> kShift], ++all_; }
  double value() const {
    uint64_t below = 0;
    for (size_t i = 0; i < count_.size(); ++i)
      if (below += count_[i]; below > all_ / 2) return std::bit_cast<float>(static_cast<uint32_t>(i) << kShift);
    return 0;
  }

 private:
  static constexpr int kShift = 12;  // Of a float's bits, which are in the order of the values.
  std::vector<uint32_t> count_ = std::vector<uint32_t>(size_t{1} << (32 - kShift));
  uint64_t all_ = 0;
};

class Filler {
 public:
  Filler(const LightGrid& g, LightRows& table, const Runner& runner)
      : g_(g), t_(table), runner_(runner), nodes_(size_t(g.columns) * g.rows), size_(nodes_ * g.channels) {
    for (int c = 0; c < g.channels; ++c) {
      smooth_.emplace_back(g.columns, g.rows, kStiffness, kPull);
      rest_smooth_.emplace_back(g.columns, g.rows, kRestStiffness, kRestPull);
    }
  }

  int run(int most, const std::function<void(size_t, std::span<const double>)>& filled) {
    size_t shown = 0;
    for (size_t f = 0; f < t_.count(); ++f) shown += t_.shows(f);
    if (shown == 0) {
      for (size_t f = 0; f < t_.count(); ++f) filled(f, Field(size_));
      return 0;
    }
    patterns_.emplace_back(size_);
    strengths_.emplace_back(t_.count(), 1.0);
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
    return static_cast<int>(patterns_.size());
  }

 private:
  // Goes through the frames that show something, or all of them.
  template <class Do>
  void each(Do act, bool all = false) {
    for (size_t f = 0; f < t_.count(); ++f)
      if (all || t_.shows(f)) t_.read(f, row_), act(f, row_);
  }

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

  // What the patterns leave of a frame, weighted.
  double misfit(size_t f, const LightRow& row) const {
    double sum = 0;
    for (size_t i = 0; i < size_; ++i)
      if (row.trust[i] > 0) sum += row.trust[i] * std::pow(row.value[i] - model(f, i), 2);
    return sum;
  }
  double misfit() {
    double sum = 0;
    each([&](size_t f, const LightRow& row) { sum += misfit(f, row); });
    return sum;
  }

  // What the patterns leave of a frame, less its median over the part of the picture a node belongs to, in standard
  // deviations: a change of light takes in whole parts, what passes in front does not. 0 where nothing is known.
  std::vector<float> off(size_t f, const LightRow& row) const {
    Field rest(size_);
    std::vector<float> result(size_);
    for (size_t i = 0; i < size_; ++i) rest[i] = row.value[i] - model(f, i);
    for (size_t first = 0; first < size_; first += nodes_)
      for (int y0 = 0; y0 < g_.rows; y0 += kPart)
        for (int x0 = 0; x0 < g_.columns; x0 += kPart) {
          std::vector<size_t> part;
          std::vector<double> sorted;
          for (int y = y0; y < std::min(y0 + kPart, g_.rows); ++y)
            for (int x = x0; x < std::min(x0 + kPart, g_.columns); ++x)
              if (const size_t i = first + size_t(y) * g_.columns + x; row.weight[i] > 0)
                part.push_back(i), sorted.push_back(rest[i]);
          if (part.empty()) continue;
          std::nth_element(sorted.begin(), sorted.begin() + sorted.size() / 2, sorted.end());
          const double middle = sorted[sorted.size() / 2];
          for (size_t i : part) result[i] = static_cast<float>((rest[i] - middle) * std::sqrt(row.weight[i]));
        }
    return result;
  }

  // Tukey's weights of that: what passes in front, where no matte says so, does not count.
  void distrust() {
    Middle middle;
    each([&](size_t f, const LightRow& row) {
      const std::vector<float> offs = off(f, row);
      for (size_t i = 0; i < size_; ++i)
        if (row.weight[i] > 0) middle.add(std::abs(offs[i]));
      t_.set_trust(f, offs);  // Until all are known.
    });
    const double most = 6 * std::max(0.5, 1.4826 * middle.value());
    each([&](size_t f, LightRow& row) {
      for (size_t i = 0; i < size_; ++i) {
        const double r = row.trust[i] / most;
        row.trust[i] = std::abs(r) < 1 ? static_cast<float>(row.weight[i] * (1 - r * r) * (1 - r * r)) : 0;
      }
      t_.set_trust(f, row.trust);
    });
  }

  void fit_pattern(size_t k) {
    Field weight(size_), weighted(size_);
    each([&](size_t f, const LightRow& row) {
      const double a = strengths_[k][f];
      for (size_t i = 0; i < size_; ++i) {
        if (row.trust[i] <= 0) continue;
        const double rest = row.value[i] - model(f, i) + a * patterns_[k][i];
        weight[i] += row.trust[i] * a * a, weighted[i] += row.trust[i] * a * rest;
      }
    });
    patterns_[k] = smoothed(smooth_, weight, weighted);
  }

  // All strengths of a frame but the constant one; expected to be about 1, which is what a pattern is scaled to.
  void fit_strengths(size_t f, const LightRow& row) {
    const Eigen::Index n = Eigen::Index(patterns_.size()) - 1;
    Eigen::MatrixXd a = Eigen::MatrixXd::Identity(n, n);
    Eigen::VectorXd b = Eigen::VectorXd::Zero(n), p(n);
    for (size_t i = 0; i < size_; ++i) {
      if (row.trust[i] <= 0) continue;
      for (Eigen::Index k = 0; k < n; ++k) p[k] = patterns_[size_t(k) + 1][i];
      a += row.trust[i] * p * p.transpose();
      b += row.trust[i] * (row.value[i] - patterns_[0][i]) * p;
    }
    const Eigen::VectorXd s = a.ldlt().solve(b);
    for (Eigen::Index k = 0; k < n; ++k) strengths_[size_t(k) + 1][f] = s[k];
  }

  void fit_strengths() {
    each([&](size_t f, const LightRow& row) { fit_strengths(f, row); });
  }

  void sweep() {
    for (size_t k = 0; k < patterns_.size(); ++k) fit_pattern(k);
    if (patterns_.size() < 2) return;
    fit_strengths();
    for (size_t k = 1; k < patterns_.size(); ++k) {
      double squares = 0, count = 0;
      for (size_t f = 0; f < t_.count(); ++f)
        if (t_.shows(f)) squares += strengths_[k][f] * strengths_[k][f], ++count;
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
    each([&](size_t f, const LightRow& row) {
      if (const double sum = misfit(f, row); sum > most) most = sum, worst = f;
    });
    t_.read(worst, row_);
    patterns_.push_back(smoothed(smooth_, Field(row_.trust.begin(), row_.trust.end()), left_over(worst, row_)));
    strengths_.emplace_back(t_.count(), 0.0);
    fit_strengths();
  }

  // Of a frame: what the patterns leave, times its weight.
  Field left_over(size_t f, const LightRow& row) const {
    Field weighted(size_);
    for (size_t i = 0; i < size_; ++i)
      if (row.trust[i] > 0) weighted[i] = row.trust[i] * (row.value[i] - model(f, i));
    return weighted;
  }

  // Strengths of frames that show nothing, between those of the nearest that do.
  void bridge() {
    const int n = static_cast<int>(t_.count());
    for (int f = 0; f < n; ++f) {
      if (t_.shows(f)) continue;
      int before = f, after = f;
      while (before >= 0 && !t_.shows(before)) --before;
      while (after < n && !t_.shows(after)) ++after;
      for (std::vector<double>& s : strengths_)
        s[f] = before < 0   ? s[after]
               : after >= n ? s[before]
                            : (s[before] * (after - f) + s[after] * (f - before)) / (after - before);
    }
  }

  void add_rest(const std::function<void(size_t, std::span<const double>)>& filled) {
    const auto add = [&](size_t f, const LightRow& row) {
      Field rest(size_);
      if (t_.shows(f)) rest = smoothed(rest_smooth_, Field(row.trust.begin(), row.trust.end()), left_over(f, row));
      for (size_t i = 0; i < size_; ++i) rest[i] += model(f, i);
      filled(f, rest);
    };
    each(add, true);
  }

  const LightGrid& g_;
  LightRows& t_;
  const Runner& runner_;
  const size_t nodes_, size_;                    // Of one channel, of all.
  std::vector<ThinPlate> smooth_, rest_smooth_;  // One for each channel.
  LightRow row_;                                 // The one in hand.
  std::vector<Field> patterns_;                  // [pattern][column]; the first is the constant one.
  std::vector<std::vector<double>> strengths_;   // [pattern][frame]
};

}  // namespace

int fill(const LightGrid& grid, LightRows& table, int most_patterns, const Runner& runner,
         const std::function<void(size_t frame, std::span<const double> row)>& filled) {
  return Filler(grid, table, runner).run(most_patterns, filled);
}

}  // namespace pw
