#include "track/find_planes.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "track/align.h"
#include "track/bridge.h"
#include "track/noise.h"
#include "track/plane_groups.h"
#include "track/region.h"
#include "track/rich_quad.h"
#include "track/shutter.h"
#include "track/telling.h"
#include "track/texture_sigma.h"
#include "track/tracker.h"

namespace pw {
namespace {

constexpr int kKeys = 9;          // Frames a region may be drawn on, spread over the shot.
constexpr size_t kTrials = 3;     // Of them, for each plane, and the first: those that promise most.
constexpr size_t kSpare = 2;      // Planes more than are asked for are tried.
constexpr int kTrialCost = 4;     // To try a reference takes about as long as to read so many frames.
constexpr int kStartLevel = 2;    // Paths tell the start of an alignment to some pixels.
constexpr double kInside = 0.75;  // Of a region in the picture: most of it, for a person.
constexpr double kSmallest = 28;  // Side of the smallest region, shrunk pixels.
constexpr double kSurePx = 0.05;  // Known to so much, a corner is worth half of one that is known exactly.
// What a square is worth where something moves otherwise, beside 1 where it goes along; where there is nothing to
// follow; and where pixels are ignored.
constexpr double kOther = -2, kNothing = -0.15, kNever = -1e6;
constexpr double kSmearPx = 0.5, kSmaller = 0.8, kSofter = 1.5,
                 kMoreVisible = 0.05;  // By which a frame is worse for a person to see.

// A region of a plane on one frame.
struct Candidate {
  FoundPlane plane;
  Motion motion;       // Of the region, as the paths tell it.
  double promise = 0;  // Its worth by the reference's texture.
};

std::vector<int> spread(int first, int last) {
  std::vector<int> frames;
  const int n = std::min(kKeys, last - first + 1);
  for (int i = 0; i < n; ++i) frames.push_back(n == 1 ? first : first + i * (last - first) / (n - 1));
  return frames;
}

double worth_of_sigma(double sigma_px) { return std::isfinite(sigma_px) ? 1 / (1 + sigma_px / kSurePx) : 0; }

// What each square of a frame is worth to a plane's region there: whether paths in it go with the plane, and how long
// they would stay in the picture.
WorthGrid worth_grid(const FeaturePaths& in, const PlaneGroup& group, int frame, const Blocked& ignore,
                     const FindOptions& options, int first) {
  const Rect picture = Rect::sized(in.width, in.height);
  WorthGrid grid{in.width / in.spacing, in.height / in.spacing, double(in.spacing), {}};
  grid.worth.assign(size_t(grid.columns) * grid.rows, kNothing);
  const Matrix3 base_from_frame = inverted(group.frame_from_base.at(frame));
  std::vector<Matrix3> ways;
  for (const auto& [f, h] : group.frame_from_base) ways.push_back(h * base_from_frame);
  const auto start = group.frame_from_base.find(first);
  const auto asked_for = [&](const Point& p) {
    if (options.look.empty()) return true;
    return start != group.frame_from_base.end() && contains(options.look, map(start->second * base_from_frame, p));
  };
  const auto staying = [&](const Point& p) {
    int inside = 0;
    for (const Matrix3& h : ways) {
      const Point q = map(h, p);
      inside += q.x() >= 0 && q.y() >= 0 && q.x() < picture.x1 && q.y() < picture.y1;
    }
    return inside;
  };
  struct Square {
    int stays = 0;  // Frames, of the path that stays longest.
    bool own = false, other = false;
  };
  std::vector<Square> squares(grid.worth.size());
  for (size_t p = 0; p < in.paths.size(); ++p) {
    const FeaturePath& path = in.paths[p];
    if (!path.seen(frame)) continue;
    const Point& at = path.on(frame);
    const int column = int(at.x() / grid.side), row = int(at.y() / grid.side);
    if (column < 0 || row < 0 || column >= grid.columns || row >= grid.rows) continue;
    const bool own = std::binary_search(group.paths.begin(), group.paths.end(), p);
    if (!own && path.at.size() < 3) continue;  // Too short to tell.
    Square& square = squares[size_t(row) * grid.columns + column];
    if (own && asked_for(at))
      square.own = true, square.stays = std::max(square.stays, staying(at));
    else
      square.other = true;
  }
  int longest = 1;
  for (const Square& s : squares) longest = std::max(longest, s.stays);
  for (int row = 0; row < grid.rows; ++row)
    for (int column = 0; column < grid.columns; ++column) {
      double& worth = grid.at(column, row);
      const Square& s = squares[size_t(row) * grid.columns + column];
      // Worth nothing where it stays half as long as elsewhere.
      if (s.own) worth = 2.0 * s.stays / longest - 1;
      if (s.other) worth = s.own ? (worth + kOther) / 2 : kOther;
      for (int y = 0; y < in.spacing && worth != kNever && !ignore.empty(); ++y)
        for (int x = 0; x < in.spacing; ++x)
          if (ignore.at({column * grid.side + x + 0.5, row * grid.side + y + 0.5})) worth = kNever;
    }
  return grid;
}

// The region on that frame, rounded to whole pixels, and what the paths say of it; nothing where there is too little.
std::optional<Candidate> candidate(const FeaturePaths& in, const PlaneGroup& group, int frame, const Blocked& ignore,
                                   const PlaneFrames& frames, const FindOptions& options) {
  if (!group.frame_from_base.contains(frame)) return std::nullopt;
  const int first = frames.first(), last = frames.last();
  const auto quad = rich_quad(worth_grid(in, group, frame, ignore, options, first));
  if (!quad) return std::nullopt;
  Candidate c;
  FoundPlane& plane = c.plane;
  plane.reference = frame, plane.frames = last - first + 1;
  for (const Point& p : *quad) plane.region.emplace_back(std::round(p.x()), std::round(p.y()));
  plane.area_px = std::abs(signed_area(plane.region));
  size_t own = 0;
  for (size_t p : group.paths) own += in.paths[p].seen(frame) && contains(plane.region, in.paths[p].on(frame));
  if (own < kFewestPaths || plane.area_px < std::pow(kSmallest * in.slack, 2)) return std::nullopt;
  const Rect picture = Rect::sized(in.width, in.height);
  c.motion = {in.width, in.height, frame, plane.region, {}};
  const Matrix3 base_from_frame = inverted(group.frame_from_base.at(frame));
  plane.corners.resize(plane.frames);
  for (const auto& [f, h] : group.frame_from_base) {
    const Matrix3 frame_from_ref = normalised(h * base_from_frame);
    if (!plausible(frame_from_ref, plane.region)) continue;
    c.motion.poses.push_back({f, frame_from_ref});
    const std::vector<Point> seen = mapped(frame_from_ref, plane.region);
    plane.corners[f - first] = seen;
    const double share = area_inside(seen, picture) / std::abs(signed_area(seen));
    plane.inside += share >= kInside;
    plane.share += share / plane.frames;
  }
  plane.smear_px = frame_path(c.motion, frame, frames.shutter_deg()).length(bounds(plane.region));
  return c;
}

// What comes of aligning a region to another frame.
struct Trial {
  double sigma_px = NAN;  // How sure the tracker is of the corners; not a number where it does not find them there.
  double visible = 0;  // Share of the reference's texture that is seen there: what stands before it on either is not.
};
Trial trial_on(const Candidate& c, const Reference& reference, double reference_noise, const Picture& image,
               const Picture& hidden, int frame, const PlaneFrames& frames, const FindOptions& options) {
  const Pose& start = *c.motion.find(frame);
  const auto window = mapped_bounds(start.frame_from_ref, reference.box());
  if (!window || intersect(window->grown(48), image.window()).empty()) return {};
  Reference::Options o;
  o.from_level = std::min(kStartLevel, reference.levels() - 1);
  o.to_level = std::min(reference.finest(), o.from_level);
  o.sigma = 0.6 * std::hypot(noise_sigma(image), reference_noise);
  o.reference_path = frame_path(c.motion, c.motion.reference, frames.shutter_deg());
  o.frame_path = frame_path(c.motion, frame, frames.shutter_deg());
  o.limits = options.limits;
  const Pyramid p =
      pyramid(image, intersect(window->grown(48), image.window()), o.to_level, o.from_level, false, serial());
  Alignment a;
  a.frame_from_ref = start.frame_from_ref;
  a = reference.align(p, Blocked(hidden, kIgnoreGrow), a, o, serial());
  if (!plausible(a.frame_from_ref, c.plane.region) || a.visible < kVisibleLimit || a.agreement < kAgreeLimit) return {};
  const Eigen::MatrixXd covariance = corner_covariance(reference, a);
  if (!covariance.allFinite()) return {};
  Pose pose{frame, a.frame_from_ref};
  pose.corner_covariance.assign(covariance.data(), covariance.data() + covariance.size());
  // What bends against the plane is off by as much, however sure its texture is.
  return {std::hypot(worst_sigma(pose), a.bending.certainty > kSurelyBent ? a.bending.px : 0), a.visible};
}

// Aligns the candidates of one reference to all keys.
void try_out(const std::vector<Candidate*>& of, int reference, const std::vector<int>& keys, const PlaneFrames& frames,
             const FindOptions& options, const Runner& runner) {
  const Picture image = frames.image(reference), ignore = frames.ignore(reference);
  if (image.empty()) return;
  const double noise = noise_sigma(image);
  std::vector<Reference> references;
  for (const Candidate* c : of) references.emplace_back(image, ignore, c->plane.region, runner);
  std::vector<double> worth(of.size()), visible(of.size());
  for (int key : keys) {
    if (key == reference) continue;
    const Picture there = frames.image(key), hidden = frames.ignore(key);
    if (there.window() != image.window()) continue;
    runner.run(of.size(), [&](size_t i) {
      Candidate& c = *of[i];
      const Pose* pose = c.motion.find(key);
      if (!pose || references[i].empty()) return;
      const auto seen = mapped(pose->frame_from_ref, c.plane.region);
      if (area_inside(seen, there.window()) < kSeenLimit * std::abs(signed_area(seen))) return;
      ++c.plane.tried;
      const Trial trial = trial_on(c, references[i], noise, there, hidden, key, frames, options);
      if (!std::isfinite(trial.sigma_px)) return;
      ++c.plane.agreed;
      worth[i] += worth_of_sigma(trial.sigma_px);
      visible[i] += trial.visible;
    });
  }
  for (size_t i = 0; i < of.size(); ++i) {
    FoundPlane& p = of[i]->plane;
    if (p.agreed == 0) continue;
    p.sigma_px = kSurePx * (p.agreed / worth[i] - 1);
    p.visible = visible[i] / p.agreed;
    p.worth = worth[i] / double(keys.size() - 1) * p.share * p.visible;
  }
}

std::string reason_of(const FoundPlane& p, const FoundPlane* first, int first_frame) {
  std::string s = fmt::format("the region is in the picture on {} of {} frames, its corners will be known to {:.3f} px",
                              p.inside, p.frames, p.sigma_px);
  if (p.reference == first_frame) return s + "; no other frame gives more";
  if (!first) return s + fmt::format("; frame {} does not show enough of it", first_frame);
  if (first->agreed == 0) return s + fmt::format("; from frame {} it would not be found again", first_frame);
  s += fmt::format("; frame {} would give {:.3f} px", first_frame, first->sigma_px);
  if (first->inside < p.inside) s += fmt::format(" on {} frames", first->inside);
  if (first->smear_px > p.smear_px + kSmearPx)
    s += fmt::format(": it is smeared by {:.1f} px instead of {:.1f}", first->smear_px, p.smear_px);
  else if (first->area_px < kSmaller * p.area_px)
    s += fmt::format(": it shows {:.0f} % of the size", 100 * first->area_px / p.area_px);
  else if (first->texture_px > kSofter * p.texture_px)
    s += ": it is less sharp";
  else if (first->visible < p.visible - kMoreVisible)
    s += fmt::format(": {:.0f} % of what it shows is seen on others, instead of {:.0f} %", 100 * first->visible,
                     100 * p.visible);
  return s;
}

bool more_promising(const Candidate& a, const Candidate& b) { return a.promise > b.promise; }

// The candidates of all groups on one frame, each to its group's.
void draw_on(int key, const FeaturePaths& paths, const std::vector<PlaneGroup>& groups, const PlaneFrames& frames,
             const FindOptions& options, const Runner& runner, std::vector<std::vector<Candidate>>& by_group) {
  const Picture image = frames.image(key);
  if (image.window() != Rect::sized(paths.width, paths.height)) return;
  const Blocked ignore(frames.ignore(key), kIgnoreGrow);
  const auto usable = [&](const Point& p) { return ignore.empty() || !ignore.at(p); };
  const double noise = noise_sigma(image);
  std::vector<std::optional<Candidate>> found(groups.size());
  runner.run(groups.size(), [&](size_t g) {
    found[g] = candidate(paths, groups[g], key, ignore, frames, options);
    if (!found[g]) return;
    FoundPlane& plane = found[g]->plane;
    plane.texture_px = texture_sigma(image, plane.region, noise, usable);
    found[g]->promise = worth_of_sigma(plane.texture_px) * plane.share;
  });
  for (size_t g = 0; g < groups.size(); ++g)
    if (found[g]) by_group[g].push_back(std::move(*found[g]));
}

// Of each group the one that came out best, with the reason.
std::vector<FoundPlane> ranked(const std::vector<std::vector<Candidate>>& by_group, int first, size_t most) {
  std::vector<FoundPlane> planes;
  for (const auto& candidates : by_group) {
    const FoundPlane *best = nullptr, *from_first = nullptr;
    for (const Candidate& c : candidates) {
      if (c.plane.worth > 0 && (!best || c.plane.worth > best->worth)) best = &c.plane;
      if (c.plane.reference == first) from_first = &c.plane;
    }
    if (!best) continue;
    planes.push_back(*best);
    planes.back().reason = reason_of(*best, from_first, first);
  }
  std::stable_sort(planes.begin(), planes.end(),
                   [](const FoundPlane& a, const FoundPlane& b) { return a.worth > b.worth; });
  if (planes.size() > most) planes.resize(most);
  return planes;
}

}  // namespace

Result<std::vector<FoundPlane>> find_planes(const PlaneFrames& frames, const FindOptions& options, const Runner& runner,
                                            const std::function<bool(int, int)>& progress) {
  const int first = frames.first(), last = frames.last();
  const std::vector<int> keys = spread(first, last);
  const int total = last - first + 1 + static_cast<int>(keys.size()) * (1 + kTrialCost);
  int done = 0;
  const auto stopped = [&](int more) { return progress && !progress(done += more, total); };
  const auto paths = feature_paths(frames, [&](int, int) { return !stopped(1); });
  if (!paths) return fail(paths.error());
  const std::vector<PlaneGroup> groups = plane_groups(*paths, keys, runner);

  std::vector<std::vector<Candidate>> by_group(groups.size());
  for (int key : keys) {
    draw_on(key, *paths, groups, frames, options, runner, by_group);
    if (stopped(1)) return fail(Problem{.what = "stopped"});
  }
  std::erase_if(by_group, [](const auto& candidates) { return candidates.empty(); });
  for (auto& candidates : by_group) std::stable_sort(candidates.begin(), candidates.end(), more_promising);
  std::stable_sort(by_group.begin(), by_group.end(),
                   [](const auto& a, const auto& b) { return more_promising(a[0], b[0]); });
  if (by_group.size() > options.most + kSpare) by_group.resize(options.most + kSpare);

  // What promises most, and the first frame to compare with.
  std::map<int, std::vector<Candidate*>> trials;
  for (auto& candidates : by_group)
    for (size_t i = 0; i < candidates.size(); ++i)
      if (const int key = candidates[i].plane.reference; i < kTrials || key == first)
        trials[key].push_back(&candidates[i]);
  for (int key : keys) {
    if (trials.contains(key)) try_out(trials[key], key, keys, frames, options, runner);
    if (stopped(kTrialCost)) return fail(Problem{.what = "stopped"});
  }
  return ranked(by_group, first, options.most);
}

}  // namespace pw
