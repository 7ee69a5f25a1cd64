#include "track/plane_groups.h"

#include <algorithm>
#include <array>
#include <optional>

#include "base/random.h"

namespace pw {
namespace {

constexpr size_t kDraws = 240;      // From each frame.
constexpr size_t kNeighbours = 24;  // Four paths are drawn from so many, which are near each other.
constexpr size_t kFewestPairs = 8;  // From which a homography is fitted.
constexpr int kRefinements = 4;
constexpr double kShared = 0.4;     // Of the paths on a frame, on another one that is looked at with it.
constexpr int kLongEnough = 3;      // Frames after which a path tells what it belongs to.
constexpr size_t kMostGroups = 12;  // From one frame: what is left then are scraps.

// What is asked of a set of paths from one frame: where they are there and on the other frames.
struct Looking {
  int base;
  std::vector<int> others;
  std::vector<size_t> paths;  // On the base and on one of the others at least.
};

using Homographies = std::vector<std::optional<Matrix3>>;  // One for each of the others.

// Frames as far away as `shared` paths reach, and half as far, both ways.
std::vector<int> others_of(const std::vector<FeaturePath>& all, const std::vector<size_t>& paths, int base) {
  std::vector<int> others;
  for (int direction : {-1, 1}) {
    int far = 0;
    for (int d = 1;; d *= 2) {
      size_t shared = 0;
      for (size_t p : paths) shared += all[p].seen(base + direction * d);
      if (shared < kFewestPaths || double(shared) < kShared * double(paths.size())) break;
      far = d;
    }
    if (far > 0) others.push_back(base + direction * far);
    if (far > 1) others.push_back(base + direction * (far / 2));
  }
  return others;
}

bool agrees(const FeaturePath& path, const Looking& view, const Homographies& h, double slack) {
  bool asked = false;
  for (size_t k = 0; k < view.others.size(); ++k) {
    if (!path.seen(view.others[k])) continue;
    if (!h[k]) return false;
    const Point there = map(*h[k], path.on(view.base));
    if (!((there - path.on(view.others[k])).norm() < slack)) return false;
    asked = true;
  }
  return asked;
}

std::vector<size_t> agreeing(const std::vector<FeaturePath>& all, const Looking& view, const Homographies& h,
                             double slack) {
  std::vector<size_t> agree;
  for (size_t p : view.paths)
    if (agrees(all[p], view, h, slack)) agree.push_back(p);
  return agree;
}

Homographies fitted(const std::vector<FeaturePath>& all, const Looking& view, const std::vector<size_t>& paths) {
  Homographies h(view.others.size());
  for (size_t k = 0; k < h.size(); ++k) {
    std::vector<Point> from, to;
    for (size_t p : paths)
      if (all[p].seen(view.others[k])) from.push_back(all[p].on(view.base)), to.push_back(all[p].on(view.others[k]));
    if (from.size() >= kFewestPairs) h[k] = homography(from, to);
  }
  return h;
}

// Four paths near each other that are seen on all frames of the view.
std::array<size_t, 4> drawn_four(const std::vector<FeaturePath>& all, const Looking& view,
                                 const std::vector<size_t>& whole, uint32_t draw) {
  const RandomBits bits = random_bits(17, view.base, static_cast<int>(draw), static_cast<int>(whole.size()));
  const size_t seed = whole[bits[0] % whole.size()];
  const Point centre = all[seed].on(view.base);
  std::vector<size_t> near;
  for (size_t p : whole)
    if (p != seed) near.push_back(p);
  const size_t count = std::min(kNeighbours, near.size());
  const auto way = [&](size_t p) { return (all[p].on(view.base) - centre).squaredNorm(); };
  std::partial_sort(near.begin(), near.begin() + static_cast<ptrdiff_t>(count), near.end(),
                    [&](size_t a, size_t b) { return std::pair(way(a), a) < std::pair(way(b), b); });
  std::array<size_t, 4> four{seed};
  for (size_t i = 1; i < 4; ++i) {
    std::swap(near[i - 1], near[i - 1 + bits[i] % (count - (i - 1))]);
    four[i] = near[i - 1];
  }
  return four;
}

std::vector<size_t> from_draw(const std::vector<FeaturePath>& all, const Looking& view,
                              const std::vector<size_t>& whole, uint32_t draw, double slack) {
  const std::array<size_t, 4> four = drawn_four(all, view, whole, draw);
  Homographies h(view.others.size());
  Quad from;
  for (size_t i = 0; i < 4; ++i) from[i] = all[four[i]].on(view.base);
  for (size_t k = 0; k < h.size(); ++k) {
    Quad to;
    for (size_t i = 0; i < 4; ++i) to[i] = all[four[i]].on(view.others[k]);
    h[k] = homography(from, to);
  }
  std::vector<size_t> agree = agreeing(all, view, h, slack);
  for (int round = 0; round < kRefinements && agree.size() >= kFewestPairs; ++round) {
    std::vector<size_t> more = agreeing(all, view, fitted(all, view, agree), slack);
    if (more.size() <= agree.size()) break;
    agree = std::move(more);
  }
  return agree;
}

// The largest set of paths that move as one plane; empty when there is none.
std::vector<size_t> largest(const std::vector<FeaturePath>& all, const Looking& view, double slack,
                            const Runner& runner) {
  std::vector<size_t> whole;
  for (size_t p : view.paths)
    if (std::all_of(view.others.begin(), view.others.end(), [&](int f) { return all[p].seen(f); })) whole.push_back(p);
  if (whole.size() < kFewestPaths) return {};
  std::vector<std::vector<size_t>> found(kDraws);
  runner.run(kDraws, [&](size_t i) { found[i] = from_draw(all, view, whole, static_cast<uint32_t>(i), slack); });
  auto best =
      std::max_element(found.begin(), found.end(), [](const auto& a, const auto& b) { return a.size() < b.size(); });
  return best->size() < kFewestPaths ? std::vector<size_t>() : std::move(*best);
}

// A group being followed over all frames. Every member has a place on the base, its own or carried there.
struct Growing {
  PlaneGroup group;
  std::map<size_t, Point> member;

  std::optional<Matrix3> fit(const std::vector<FeaturePath>& all, int frame, double slack) const {
    std::vector<Point> from, to;
    for (const auto& [p, base] : member)
      if (all[p].seen(frame)) from.push_back(base), to.push_back(all[p].on(frame));
    for (int round = 0; round < 3; ++round) {
      if (from.size() < kFewestPairs) return std::nullopt;
      const auto h = homography(from, to);
      if (!h) return std::nullopt;
      std::vector<Point> a, b;
      for (size_t i = 0; i < from.size(); ++i)
        if ((map(*h, from[i]) - to[i]).norm() < 2 * slack) a.push_back(from[i]), b.push_back(to[i]);
      if (a.size() == from.size()) return h;
      if (2 * a.size() < from.size()) return std::nullopt;
      from = std::move(a), to = std::move(b);
    }
    return homography(from, to);
  }

  void reach_out(const std::vector<FeaturePath>& all, int first, int last, double slack) {
    for (int direction : {-1, 1})
      for (int f = group.base + direction; f >= first && f <= last; f += direction)
        if (!group.frame_from_base.contains(f))
          if (const auto h = fit(all, f, slack)) group.frame_from_base[f] = *h;
  }

  // Whether a path goes with the group on all frames that know it, enough of them. Paths drift, so it is held to its
  // whole way, not to the place it set out from.
  bool takes(const FeaturePath& path, double slack, int least = kLongEnough) const {
    std::vector<Point> base;
    for (auto f = group.frame_from_base.lower_bound(path.first);
         f != group.frame_from_base.end() && f->first <= path.last(); ++f)
      base.push_back(map(inverted(f->second), path.on(f->first)));
    if (int(base.size()) < std::clamp(int(group.frame_from_base.size()), 2, least)) return false;
    Point mean(0, 0);
    for (const Point& p : base) mean += p / double(base.size());
    double square = 0, worst = 0;
    auto f = group.frame_from_base.lower_bound(path.first);
    for (size_t i = 0; i < base.size(); ++i, ++f) {
      const double off = (map(f->second, mean) - path.on(f->first)).norm();
      square += off * off / double(base.size()), worst = std::max(worst, off);
    }
    return std::sqrt(square) < slack && worst < 3 * slack;
  }

  // Whether another set of paths moves as this one does, but for some drift.
  bool same(const std::vector<FeaturePath>& all, const std::vector<size_t>& paths, double slack) const {
    const auto goes_along = [&](size_t p) { return takes(all[p], 2 * slack, 2); };
    return 5 * std::count_if(paths.begin(), paths.end(), goes_along) >= 4 * std::ssize(paths);
  }

  void add(const std::vector<FeaturePath>& all, size_t p) {
    const auto f = group.frame_from_base.lower_bound(all[p].first);
    member[p] = map(inverted(f->second), all[p].on(f->first));
  }

  bool join(const std::vector<FeaturePath>& all, std::vector<bool>& taken, double slack) {
    bool any = false;
    for (size_t p = 0; p < all.size(); ++p) {
      if (taken[p] || !takes(all[p], slack)) continue;
      add(all, p);
      any = taken[p] = true;
    }
    return any;
  }
};

}  // namespace

std::vector<PlaneGroup> plane_groups(const FeaturePaths& in, std::vector<int> keys, const Runner& runner) {
  const std::vector<FeaturePath>& all = in.paths;
  if (all.empty()) return {};
  std::vector<Growing> grown;
  int first = all.front().first, last = first;
  for (const FeaturePath& p : all) last = std::max(last, p.last());
  std::vector<bool> taken(all.size());
  // From the middle outward: there paths go on both ways, which tells most.
  const auto off_middle = [&](int f) { return std::abs(2 * f - (first + last)); };
  std::stable_sort(keys.begin(), keys.end(), [&](int a, int b) { return off_middle(a) < off_middle(b); });
  for (int key : keys)
    for (size_t found = 0; found < kMostGroups; ++found) {
      Looking view{.base = key};
      for (size_t p = 0; p < all.size(); ++p)
        if (!taken[p] && all[p].seen(key) && all[p].at.size() >= 2) view.paths.push_back(p);
      view.others = others_of(all, view.paths, key);
      if (view.others.empty()) break;
      const std::vector<size_t> paths = largest(all, view, in.slack, runner);
      if (paths.empty()) break;
      Growing growing{{.base = key, .frame_from_base = {{key, Matrix3::Identity()}}}, {}};
      for (size_t p : paths) taken[p] = true;
      const auto known =
          std::find_if(grown.begin(), grown.end(), [&](const Growing& g) { return g.same(all, paths, in.slack); });
      if (known != grown.end()) {
        for (size_t p : paths)
          if (known->takes(all[p], 2 * in.slack, 2)) known->add(all, p);
        continue;
      }
      for (size_t p : paths) growing.member[p] = all[p].on(key);
      do {
        growing.reach_out(all, first, last, in.slack);
      } while (growing.join(all, taken, 1.5 * in.slack));
      grown.push_back(std::move(growing));
    }
  std::vector<PlaneGroup> groups;
  for (Growing& g : grown) {
    for (const auto& [p, base] : g.member) g.group.paths.push_back(p);
    groups.push_back(std::move(g.group));
  }
  return groups;
}

}  // namespace pw
