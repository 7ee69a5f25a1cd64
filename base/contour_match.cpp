#include "base/contour_match.h"

#include <limits>

#include "base/contour_warp.h"

namespace pw {
namespace {

constexpr double kWellMatched = 0.25;

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
  if (!(best < kWellMatched * drawn)) return {n, n, 0, 0, {}, {}};
  if (best_turned) next = reversed(next);
  return {n, n, 0, static_cast<double>(best_shift), {}, {}};
}

double snapped(double place, double n) {
  const double whole = std::round(place);
  if (std::abs(place - whole) > kSamePlace) return place;
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
  places.erase(std::unique(places.begin(), places.end(), [](double p, double q) { return q - p < kSamePlace; }),
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

}  // namespace pw
