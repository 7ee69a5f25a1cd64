#include "base/contour_match.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numeric>

namespace pw {
namespace {

constexpr double kClearlyBetter = 0.25;
constexpr int kSamples = 256;  // Per contour, where curves are compared.

// Length along a contour against its parameter, both piecewise linear on one table, so that they invert each other.
class Length {
 public:
  explicit Length(const Contour& c) {
    constexpr int kSteps = 16;
    double total = 0;
    Point last = c.knots[0].at;
    for (size_t i = 0; i < c.knots.size(); ++i) {
      const Cubic s = segment(c, i);
      for (int k = 0; k < kSteps; ++k) {
        place_.push_back(static_cast<double>(i) + static_cast<double>(k) / kSteps);
        share_.push_back(total);
        const Point next = pw::at(s, (k + 1.0) / kSteps);
        total += std::max((next - last).norm(), 1e-9);  // Strictly rising, also where knots coincide.
        last = next;
      }
    }
    place_.push_back(static_cast<double>(c.knots.size()));
    share_.push_back(total);
    for (double& s : share_) s /= total;
  }
  double share(double place) const { return follow(place_, share_, place); }
  double place(double share) const { return follow(share_, place_, share); }

  // y at x of the broken line through (xs, ys), xs rising.
  static double follow(const std::vector<double>& xs, const std::vector<double>& ys, double x) {
    const auto it = std::upper_bound(xs.begin() + 1, xs.end() - 1, x);
    const size_t i = static_cast<size_t>(it - xs.begin());
    return ys[i - 1] + (x - xs[i - 1]) / (xs[i] - xs[i - 1]) * (ys[i] - ys[i - 1]);
  }

 private:
  std::vector<double> place_, share_;
};

double wrapped(double x, double period) {
  const double r = x - std::floor(x / period) * period;
  return r < period ? r : 0;
}

// Place on one drawing <-> place on the next one.
struct Link {
  double n = 0, m = 0;                    // Segments of either.
  double start = 0, next_start = 0;       // Places that correspond.
  std::vector<double> ahead, next_ahead;  // Rising, from 0 to n and to m: further ones, counted from there; empty: the
                                          // same way on both.

  double forth(double x) const {
    const double way = wrapped(x - start, n);
    return wrapped((ahead.empty() ? way : Length::follow(ahead, next_ahead, way)) + next_start, m);
  }
  double back(double y) const {
    const double way = wrapped(y - next_start, m);
    return wrapped((ahead.empty() ? way : Length::follow(next_ahead, ahead, way)) + start, n);
  }
};

using Plane = std::vector<std::complex<double>>;

Plane centred(Plane p) {
  const std::complex<double> mean = std::accumulate(p.begin(), p.end(), std::complex<double>()) / double(p.size());
  for (auto& z : p) z -= mean;
  return p;
}

double energy(const Plane& p) {
  double e = 0;
  for (const auto& z : p) e += std::norm(z);
  return e;
}

// Squared distance left when b, read from `shift` on, is laid over a by the best rotation and scale, as a share of b's
// own extent; both centred. Procrustes analysis: J. C. Gower, "Generalized Procrustes analysis", Psychometrika 40,
// 1975.
double misfit(const Plane& a, const Plane& b, size_t shift, double product) {
  const size_t n = a.size();
  const size_t step = 1 + n / 512;
  std::complex<double> dot;
  double ea = 0, eb = 0;
  for (size_t i = 0; i < n; i += step) {
    const auto& q = b[(i + shift) % n];
    dot += std::conj(a[i]) * q;
    if (step > 1) ea += std::norm(a[i]), eb += std::norm(q);
  }
  if (step > 1) product = ea * eb;
  return product > 0 ? 1 - std::norm(dot) / product : 0;
}

Plane knots(const Contour& c) {
  Plane p;
  for (const Knot& k : c.knots) p.emplace_back(k.at.x(), k.at.y());
  return p;
}

// May turn `next` round.
Link link_by_knots(const Contour& from, Contour& next) {
  const Plane a = centred(knots(from));
  double best = std::numeric_limits<double>::infinity(), drawn = best;
  size_t best_shift = 0;
  bool best_turned = false;
  for (const bool turned : {false, true}) {
    const Plane b = centred(knots(turned ? reversed(next) : next));
    const double product = energy(a) * energy(b);
    for (size_t shift = 0; shift < b.size(); ++shift) {
      const double e = misfit(a, b, shift, product);
      if (!turned && shift == 0) drawn = e;
      if (e < best) best = e, best_shift = shift, best_turned = turned;
    }
  }
  const double n = static_cast<double>(a.size());
  if (!(best < kClearlyBetter * drawn)) return {n, n, 0, 0, {}, {}};
  if (best_turned) next = reversed(next);
  return {n, n, 0, static_cast<double>(best_shift), {}, {}};
}

Plane samples(const Contour& c, const Length& length) {
  Plane p;
  for (int i = 0; i < kSamples; ++i) {
    const double place = length.place(double(i) / kSamples);
    const size_t s = std::min(static_cast<size_t>(place), c.knots.size() - 1);
    const Point q = at(segment(c, s), place - static_cast<double>(s));
    p.emplace_back(q.x(), q.y());
  }
  return centred(p);
}

// The cheapest monotone path from (0,0) to (n,n), one step forward on one side and one to eight on the other: it never
// stands still on either, and a part may grow to eight times its length. Cost of a pair: squared distance, and squared
// difference of direction in units of the shape's size.
std::vector<std::pair<int, int>> warped(const Plane& a, const Plane& b) {
  constexpr int n = kSamples;
  std::vector<std::pair<int, int>> steps{{1, 1}};
  for (int k = 2; k <= 8; ++k) steps.insert(steps.end(), {{1, k}, {k, 1}});
  const double size2 = (energy(a) + energy(b)) / (2 * n);
  const auto direction = [](const Plane& p, int i) {
    const auto d = p[(i + 1) % n] - p[(i + n - 1) % n];
    return std::abs(d) > 0 ? d / std::abs(d) : d;
  };
  const auto cost = [&](int i, int j) {
    return std::norm(a[i % n] - b[j % n]) + 0.05 * size2 * std::norm(direction(a, i % n) - direction(b, j % n));
  };
  std::vector<double> sum((n + 1) * (n + 1), std::numeric_limits<double>::infinity());
  std::vector<int8_t> step(sum.size(), -1);
  sum[0] = 0;
  for (int i = 1; i <= n; ++i)
    for (int j = 1; j <= n; ++j) {
      const double here = cost(i, j) + 1e-12 * size2;
      for (size_t k = 0; k < steps.size(); ++k) {
        const auto [di, dj] = steps[k];
        if (i < di || j < dj) continue;
        const double s = sum[(i - di) * (n + 1) + j - dj] + here * (di + dj);
        if (s < sum[i * (n + 1) + j]) sum[i * (n + 1) + j] = s, step[i * (n + 1) + j] = static_cast<int8_t>(k);
      }
    }
  std::vector<std::pair<int, int>> path{{n, n}};
  for (int i = n, j = n; i > 0 || j > 0;) {
    const auto [di, dj] = steps[step[i * (n + 1) + j]];
    path.emplace_back(i -= di, j -= dj);
  }
  std::reverse(path.begin(), path.end());
  return path;
}

std::complex<double> median_step(const Plane& a, const Plane& b, const std::vector<std::pair<int, int>>& pairs) {
  std::vector<double> dx, dy;
  for (const auto& [i, j] : pairs) {
    const auto d = b[j % kSamples] - a[i % kSamples];
    dx.push_back(d.real());
    dy.push_back(d.imag());
  }
  const auto middle = [](std::vector<double>& v) {
    std::nth_element(v.begin(), v.begin() + v.size() / 2, v.end());
    return v[v.size() / 2];
  };
  return {middle(dx), middle(dy)};
}

// The pair around which the curves agree best: the cost of the pairs beside it is least.
std::pair<int, int> surest(const Plane& a, const Plane& b, const std::vector<std::pair<int, int>>& pairs) {
  constexpr int kBeside = 12;
  const int count = static_cast<int>(pairs.size()) - 1;  // The last pair is the first again.
  double best = std::numeric_limits<double>::infinity();
  std::pair<int, int> pair;
  for (int k = 0; k < count; ++k) {
    double e = 0;
    for (int o = -kBeside; o <= kBeside; ++o) {
      const auto [i, j] = pairs[(k + o + count * kBeside) % count];
      e += std::norm(a[i] - b[j]);
    }
    if (e < best) best = e, pair = pairs[k];
  }
  return pair;
}

// May turn `next` round.
Link link_by_length(const Contour& from, Contour& next) {
  const Length length(from);
  Plane a = samples(from, length), b;
  double best = std::numeric_limits<double>::infinity();
  int first_a = 0, first_b = 0;
  bool best_turned = false;
  for (const bool turned : {false, true}) {
    const Contour c = turned ? reversed(next) : next;
    const Plane p = samples(c, Length(c));
    for (int shift = 0; shift < kSamples; ++shift) {
      double e = 0;
      for (int i = 0; i < kSamples; ++i) e += std::norm(a[i] - p[(i + shift) % kSamples]);
      if (e < best) best = e, b = p, first_b = shift, best_turned = turned;
    }
  }
  if (best_turned) next = reversed(next);
  const Length other(next);

  // Once to see how most of it has moved (the mean is pulled by what changed its shape) and where both surely agree;
  // then again, from there, with that movement taken out.
  std::rotate(b.begin(), b.begin() + first_b, b.end());
  auto pairs = warped(a, b);
  const std::complex<double> moved = median_step(a, b, pairs);
  for (auto& z : b) z -= moved;
  const auto [i0, j0] = surest(a, b, pairs);
  std::rotate(a.begin(), a.begin() + i0, a.end());
  std::rotate(b.begin(), b.begin() + j0, b.end());
  first_a = i0;
  first_b = (first_b + j0) % kSamples;
  pairs = warped(a, b);

  const double n = static_cast<double>(from.knots.size()), m = static_cast<double>(next.knots.size());
  // Place of a sample counted on from the first, over the end where need be.
  const auto place = [](const Length& l, int first, int step, double count) {
    const int at = first + step;
    return l.place(double(at % kSamples) / kSamples) + (at / kSamples) * count;
  };
  Link link{n, m, place(length, first_a, 0, n), place(other, first_b, 0, m), {}, {}};
  for (const auto& [i, j] : pairs) {
    link.ahead.push_back(place(length, first_a, i, n) - link.start);
    link.next_ahead.push_back(place(other, first_b, j, m) - link.next_start);
  }
  return link;
}

constexpr double kSame = 1e-6;  // Places closer than this are one.

double snapped(double place, double n) {
  const double whole = std::round(place);
  if (std::abs(place - whole) > kSame) return place;
  return whole == n ? 0 : whole;
}

}  // namespace

std::vector<Contour> conformed(std::span<const Contour> drawings) {
  std::vector<Contour> all(drawings.begin(), drawings.end());
  std::vector<Link> links;
  for (size_t i = 1; i < all.size(); ++i) {
    const bool same_count = all[i].knots.size() == all[i - 1].knots.size();
    links.push_back(same_count ? link_by_knots(all[i - 1], all[i]) : link_by_length(all[i - 1], all[i]));
  }
  // Every knot of every drawing, as a place on the first.
  std::vector<double> places;
  for (size_t i = 0; i < all.size(); ++i)
    for (size_t k = 0; k < all[i].knots.size(); ++k) {
      double place = static_cast<double>(k);
      for (size_t l = i; l-- > 0;) place = snapped(links[l].back(place), links[l].n);
      places.push_back(place);
    }
  std::sort(places.begin(), places.end());
  places.erase(std::unique(places.begin(), places.end(), [](double p, double q) { return q - p < kSame; }),
               places.end());

  for (size_t i = 0; i < all.size(); ++i) {
    const double n = static_cast<double>(all[i].knots.size());
    if (i > 0)
      for (double& p : places) p = snapped(links[i - 1].forth(p), n);
    std::vector<double> rising = places;  // Around the contour once, from wherever the first place lies.
    for (size_t k = 1; k < rising.size(); ++k)
      while (rising[k] < rising[k - 1]) rising[k] += n;
    all[i] = cut(all[i], rising);
  }
  return all;
}

std::vector<std::pair<size_t, size_t>> paired(std::span<const Contour> from, std::span<const Contour> to) {
  struct About {
    Point centre;
    double size;
  };
  const auto about = [](const Contour& c) {
    Point mean(0, 0);
    for (const Knot& k : c.knots) mean += k.at;
    return About{mean / static_cast<double>(c.knots.size()), std::sqrt(std::abs(signed_area(c)))};
  };
  std::vector<About> a, b;
  for (const Contour& c : from) a.push_back(about(c));
  for (const Contour& c : to) b.push_back(about(c));
  const auto cost = [&](size_t i, size_t j) {
    return (a[i].centre - b[j].centre).squaredNorm() + (a[i].size - b[j].size) * (a[i].size - b[j].size);
  };

  std::vector<std::pair<size_t, size_t>> drawn;
  double drawn_cost = 0;
  for (size_t i = 0; i < std::min(a.size(), b.size()); ++i) drawn.emplace_back(i, i), drawn_cost += cost(i, i);
  if (a.size() * b.size() > 1'000'000) return drawn;

  std::vector<std::pair<size_t, size_t>> candidates, nearest;
  for (size_t i = 0; i < a.size(); ++i)
    for (size_t j = 0; j < b.size(); ++j) candidates.emplace_back(i, j);
  std::stable_sort(candidates.begin(), candidates.end(),
                   [&](const auto& p, const auto& q) { return cost(p.first, p.second) < cost(q.first, q.second); });
  std::vector<bool> used_a(a.size()), used_b(b.size());
  double nearest_cost = 0;
  for (const auto& [i, j] : candidates) {
    if (used_a[i] || used_b[j]) continue;
    used_a[i] = used_b[j] = true;
    nearest.emplace_back(i, j);
    nearest_cost += cost(i, j);
  }
  std::sort(nearest.begin(), nearest.end());
  return a.size() == b.size() && !(nearest_cost < kClearlyBetter * drawn_cost) ? drawn : nearest;
}

}  // namespace pw
