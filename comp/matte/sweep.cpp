#include "comp/matte/sweep.h"

#include <algorithm>
#include <cmath>
#include <map>

namespace pw {
namespace {

constexpr double kUnit = 1 << 20;  // Heights are counted in 1 / kUnit px.
constexpr double kFar = 1 << 22;   // Positions are held within this, px.
constexpr double kOff = 0.005;     // How far a chord may be off its curve, px.
constexpr double kMostEdges = 4e6;
constexpr size_t kMostSlabs = 256;  // In a row, before edges are sampled.
constexpr double kNothing = 1e-7;   // Spans narrower than this are rounding.

double held(double v) { return std::isfinite(v) ? std::clamp(v, -kFar, kFar) : 0; }

// Chords that a cubic needs: its second differences bound how far it bends away (Wang's formula).
double chords(const Cubic& s) {
  const double bend = std::max((s[0] - 2 * s[1] + s[2]).norm(), (s[1] - 2 * s[2] + s[3]).norm());
  const double n = std::ceil(std::sqrt(0.75 * bend / kOff));
  return n >= 1 ? std::min(n, 1e5) : 1;  // Also 1 for what is not a number.
}

int units(double y, int row) { return static_cast<int>((y - row) * kUnit); }  // Exact: y is a whole number of units.

class RowSweep {
 public:
  RowSweep(const SweepEdges& s, const std::function<void(int, const Slab&)>& visit)
      : visit_(visit), winding_(s.rules.size()), rules_(s.rules) {}

  void row(int row, const std::vector<const Edge*>& active) {
    cuts_.assign({0, 1 << 19, 1 << 20});
    for (const Edge* e : active) {
      if (e->y0 > row) cuts_.push_back(units(e->y0, row));
      if (e->y1 < row + 1) cuts_.push_back(units(e->y1, row));
    }
    tidy(cuts_);
    exact_ = cuts_.size() <= kMostSlabs + 1;
    if (exact_) add_crossings(row, active);
    if (!exact_) {
      cuts_.clear();
      for (size_t i = 0; i <= kMostSlabs; ++i) cuts_.push_back(static_cast<int>(i) << 12);
    }
    for (size_t i = 0; i + 1 < cuts_.size(); ++i) slab(row, cuts_[i], cuts_[i + 1], active);
  }

 private:
  struct At {
    double x;
    const Edge* edge;
  };

  static void tidy(std::vector<int>& v) {
    std::sort(v.begin(), v.end());
    v.erase(std::unique(v.begin(), v.end()), v.end());
  }

  // The active edges that cross the height `y` (in units), left to right.
  void order(int row, double y, const std::vector<const Edge*>& active) {
    across_.clear();
    const double at = row + y / kUnit;
    for (const Edge* e : active)
      if (e->y0 <= at && e->y1 > at) across_.push_back({e->x(at), e});
    std::sort(across_.begin(), across_.end(), [](const At& a, const At& b) {
      return a.x != b.x ? a.x < b.x : a.edge < b.edge;  // Ties: in the order of the list, the same for every row.
    });
  }

  void add_crossings(int row, const std::vector<const Edge*>& active) {
    std::vector<int> found;
    for (size_t i = 0; i + 1 < cuts_.size(); ++i) {
      order(row, 0.5 * (cuts_[i] + cuts_[i + 1]), active);
      const size_t count = across_.size();
      top_.resize(count);
      bottom_.resize(count);
      bool crossing = false;
      for (size_t a = 0; a < count; ++a) {
        top_[a] = across_[a].edge->x(row + cuts_[i] / kUnit);
        bottom_[a] = across_[a].edge->x(row + cuts_[i + 1] / kUnit);
        if (a > 0) crossing |= top_[a] < top_[a - 1] - kNothing || bottom_[a] < bottom_[a - 1] - kNothing;
      }
      if (crossing && count > 1000) return void(exact_ = false);
      // Lines that are in order in the middle cross where they are out of order above or below it.
      for (size_t a = 0; crossing && a < count; ++a)
        for (size_t b = a + 1; b < count; ++b) {
          const double above = top_[b] - top_[a], below = bottom_[b] - bottom_[a];
          if (above >= 0 && below >= 0) continue;
          const int y = static_cast<int>(std::lround(cuts_[i] + above / (above - below) * (cuts_[i + 1] - cuts_[i])));
          if (y > cuts_[i] && y < cuts_[i + 1]) found.push_back(y);
          if (found.size() > kMostSlabs) return void(exact_ = false);
        }
    }
    cuts_.insert(cuts_.end(), found.begin(), found.end());
    tidy(cuts_);
    exact_ = cuts_.size() <= kMostSlabs + 1;
  }

  void slab(int row, int y0, int y1, const std::vector<const Edge*>& active) {
    order(row, 0.5 * (y0 + y1), active);
    slab_.y0 = y0;
    slab_.y1 = y1;
    slab_.borders.clear();
    int filled = 0;  // Paths that are filled here.
    for (const At& a : across_) {
      int& winding = winding_[a.edge->path];
      const bool odd = rules_[a.edge->path] == FillRule::even_odd;
      const bool was = odd ? winding & 1 : winding != 0;
      winding += a.edge->direction;
      const bool is = odd ? winding & 1 : winding != 0;
      if (was == is) continue;
      const bool before = filled > 0;
      filled += is ? 1 : -1;
      if (before == (filled > 0)) continue;
      if (exact_)
        add_border({a.edge, a.edge->x(row + y0 / kUnit), a.edge->x(row + y1 / kUnit)});
      else
        add_border({a.edge, a.x, a.x});
    }
    for (const At& a : across_) winding_[a.edge->path] = 0;
    if (!slab_.borders.empty()) visit_(row, slab_);
  }

  // Two borders in the same place are none.
  void add_border(const Border& b) {
    if (!slab_.borders.empty() && std::abs(slab_.borders.back().top - b.top) < kNothing &&
        std::abs(slab_.borders.back().bottom - b.bottom) < kNothing)
      slab_.borders.pop_back();
    else
      slab_.borders.push_back(b);
  }

  const std::function<void(int, const Slab&)>& visit_;
  std::vector<int> winding_;  // Of each path.
  const std::vector<FillRule>& rules_;
  std::vector<int> cuts_;
  std::vector<At> across_;
  std::vector<double> top_, bottom_;
  Slab slab_;
  bool exact_ = true;
};

}  // namespace

SweepEdges edges_of(const Shape& shape) {
  SweepEdges s;
  double wanted = 0;
  for (const Contour& c : shape.contours)
    for (size_t i = 0; i < c.knots.size(); ++i) wanted += chords(segment(c, i));
  const double share = std::min(1.0, kMostEdges / std::max(wanted, 1.0));

  std::map<int, int> index;  // Of the shape's path numbers.
  for (const Contour& c : shape.contours) {
    const auto [it, is_new] = index.try_emplace(c.path, static_cast<int>(s.rules.size()));
    if (is_new) s.rules.push_back(c.rule);
    const auto whole_units = [](double y) { return std::round(held(y) * kUnit) / kUnit; };
    for (size_t i = 0; i < c.knots.size(); ++i) {
      const Cubic cubic = segment(c, i);
      const int n = std::max(1, static_cast<int>(chords(cubic) * share));
      Point a(held(cubic[0].x()), whole_units(cubic[0].y()));
      for (int k = 1; k <= n; ++k) {
        const Point on_curve = k == n ? cubic[3] : at(cubic, static_cast<double>(k) / n);
        const Point b(held(on_curve.x()), whole_units(on_curve.y()));
        if (a.y() < b.y()) s.edges.push_back({a.x(), a.y(), b.x(), b.y(), it->second, 1});
        if (a.y() > b.y()) s.edges.push_back({b.x(), b.y(), a.x(), a.y(), it->second, -1});
        a = b;
      }
    }
  }
  std::stable_sort(s.edges.begin(), s.edges.end(), [](const Edge& a, const Edge& b) { return a.y0 < b.y0; });
  return s;
}

void sweep(const SweepEdges& s, int first, int last, const std::function<void(int, const Slab&)>& visit) {
  RowSweep rows(s, visit);
  std::vector<const Edge*> active;
  size_t next = 0;
  for (int row = first; row < last; ++row) {
    std::erase_if(active, [row](const Edge* e) { return e->y1 <= row; });
    for (; next < s.edges.size() && s.edges[next].y0 < row + 1; ++next)
      if (s.edges[next].y1 > row) active.push_back(&s.edges[next]);
    if (!active.empty()) rows.row(row, active);
    if (active.empty() && next == s.edges.size()) return;
  }
}

namespace {

// Collects the sides: runs of borders along one edge, and what lies level between slabs.
class Sides {
 public:
  explicit Sides(const SweepEdges& s) : edges_(s.edges), run_(s.edges.size(), Side{0, 0, 0, -kFar * 2}) {}

  void add(int row, const Slab& slab) {
    const double y0 = row + slab.y0 / kUnit, y1 = row + slab.y1 / kUnit;
    if (y0 != y_) level();  // Nothing is filled between the slabs.
    y_ = y0;
    for (const Border& b : slab.borders) {
      xs_.push_back(b.top);
      Side& run = run_[b.edge - edges_.data()];
      if (run.y1 != y0) {
        if (run.y1 > run.y0) sides_.push_back(run);
        run = {b.top, y0, b.top, y0};
      }
      run.x1 = b.bottom;
      run.y1 = y1;
    }
    level();
    y_ = y1;
    for (const Border& b : slab.borders) xs_.push_back(b.bottom);
  }

  std::vector<Side> finish() {
    level();
    for (const Side& run : run_)
      if (run.y1 > run.y0) sides_.push_back(run);
    return std::move(sides_);
  }

 private:
  // At height y_: what is filled on one side of it and not on the other. xs_ holds the borders of both.
  void level() {
    std::sort(xs_.begin(), xs_.end());
    for (size_t i = 0; i + 1 < xs_.size(); i += 2)
      if (xs_[i + 1] - xs_[i] > kNothing) sides_.push_back({xs_[i], y_, xs_[i + 1], y_});
    xs_.clear();
  }

  const std::vector<Edge>& edges_;
  std::vector<Side> run_;  // Of each edge.
  std::vector<double> xs_;
  double y_ = -kFar * 2;
  std::vector<Side> sides_;
};

}  // namespace

std::vector<Side> boundary(const SweepEdges& s) {
  if (s.edges.empty()) return {};
  Sides sides(s);
  double bottom = s.edges[0].y1;
  for (const Edge& e : s.edges) bottom = std::max(bottom, e.y1);
  sweep(s, static_cast<int>(std::floor(s.edges[0].y0)), static_cast<int>(std::ceil(bottom)),
        [&](int row, const Slab& slab) { sides.add(row, slab); });
  return sides.finish();
}

}  // namespace pw
