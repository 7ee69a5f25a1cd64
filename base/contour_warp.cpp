#include "base/contour_warp.h"

#include <limits>
#include <utility>

namespace pw {
namespace {

constexpr int kSamples = 256;  // Per contour, where curves are compared.

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

// Two places that correspond, as shares of the lengths.
struct Anchor {
  double from, next;
  bool knots;  // Knots on both.
};

double apart(double share, double other) {  // Around the contour; sign: other lies ahead.
  const double d = other - share;
  return d - std::round(d);
}

// Where a knot of one side lies within a few samples of where a knot of the other belongs, they are the same corner:
// the pair takes the place of the samples around it.
std::vector<Anchor> anchored_on_knots(std::vector<Anchor> samples, const Contour& from, const Contour& next,
                                      const Length& length, const Length& other) {
  constexpr double kNear = 6.0 / kSamples, kClear = 8.0 / kSamples;
  // What corresponds to a share of the length, by the nearest sample.
  const auto partner = [&](double share) {
    const Anchor* best = &samples[0];
    for (const Anchor& s : samples)
      if (std::abs(apart(share, s.from)) < std::abs(apart(share, best->from))) best = &s;
    return best->next + apart(best->from, share);
  };
  std::vector<Anchor> anchors;
  std::vector<bool> taken(next.knots.size());
  for (size_t k = 0; k < from.knots.size(); ++k) {
    const double share = length.share(static_cast<double>(k)), there = partner(share);
    size_t best = 0;
    const auto distance = [&](size_t j) { return std::abs(apart(there, other.share(static_cast<double>(j)))); };
    for (size_t j = 1; j < next.knots.size(); ++j)
      if (distance(j) < distance(best)) best = j;
    if (distance(best) > kNear || taken[best]) continue;
    taken[best] = true;
    anchors.push_back({share, other.share(static_cast<double>(best)), true});
  }
  for (const Anchor& s : samples)
    if (std::none_of(anchors.begin(), anchors.end(), [&](const Anchor& a) {
          return a.knots && (std::abs(apart(a.from, s.from)) < kClear || std::abs(apart(a.next, s.next)) < kClear);
        }))
      anchors.push_back(s);
  return anchors;
}

// The first anchor is where the link starts; others count as far as both sides rise.
Link link_through(std::vector<Anchor> anchors, const Contour& from, const Contour& next, const Length& length,
                  const Length& other) {
  const double n = static_cast<double>(from.knots.size()), m = static_cast<double>(next.knots.size());
  const Anchor first = anchors[0];
  for (Anchor& a : anchors) a.from = wrapped(a.from - first.from, 1), a.next = wrapped(a.next - first.next, 1);
  std::stable_sort(anchors.begin() + 1, anchors.end(),
                   [](const Anchor& a, const Anchor& b) { return a.from < b.from; });
  Link link{n, m, length.place(first.from), other.place(first.next), {0}, {0}};
  const auto way = [](const Length& l, double start_place, double start, double ahead, double count) {
    const double share = start + ahead;
    return l.place(share < 1 ? share : share - 1) + (share < 1 ? 0 : count) - start_place;
  };
  // Pairs of knots come first: nothing before one may lie beyond it.
  std::vector<double> limit(anchors.size() + 1, m);
  for (size_t i = anchors.size(); i-- > 1;)
    limit[i] = anchors[i].knots ? std::min(limit[i + 1], way(other, link.next_start, first.next, anchors[i].next, m))
                                : limit[i + 1];
  for (size_t i = 1; i < anchors.size(); ++i) {
    const double a = way(length, link.start, first.from, anchors[i].from, n);
    const double b = way(other, link.next_start, first.next, anchors[i].next, m);
    if (a > link.ahead.back() + kSamePlace && b > link.next_ahead.back() + kSamePlace && a < n - kSamePlace &&
        b < limit[i + 1] - kSamePlace) {
      link.ahead.push_back(a);
      link.next_ahead.push_back(b);
    }
  }
  link.ahead.push_back(n);
  link.next_ahead.push_back(m);
  return link;
}

}  // namespace

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

  std::vector<Anchor> anchors;
  for (const auto& [i, j] : pairs)
    anchors.push_back(
        {double((first_a + i) % kSamples) / kSamples, double((first_b + j) % kSamples) / kSamples, false});
  anchors.pop_back();  // The first again.
  return link_through(anchored_on_knots(std::move(anchors), from, next, length, other), from, next, length, other);
}

}  // namespace pw
