#include "track/tracker.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "track/bridge.h"
#include "track/noise.h"
#include "track/region.h"
#include "track/shutter.h"
#include "track/telling.h"

namespace pw {
namespace {

constexpr double kShrunk = 0.8;     // A region that covers less of its area is seen with aliasing: softened.
constexpr double kFromAbove = 0.3;  // What a start from one level up is wrong by, pixels of the level.
constexpr size_t kRemembered = 3;   // Frames before the last whose places tell the next one's.
constexpr double kNearStart = 0.5;  // Starts nearer to each other are one, pixels of the coarsest level.
constexpr int kFeatureMargin = 40;  // Pixels that features reach in the coarsest picture they are followed in.
constexpr double kLongWay = 24;     // Of a smear, pixels of the level.
// Known to so many pixels from half the size, a corner is not looked for on the whole.
constexpr double kFineEnough = 0.03;

}  // namespace

std::vector<Point> Tracker::feature_support() const {
  if (options.also.empty()) return options.region;
  const Rect& box = reference.box();
  return {Point(box.x0, box.y0), Point(box.x1, box.y0), Point(box.x1, box.y1), Point(box.x0, box.y1)};
}

// How far features are looked for around the region; one that is large is shrunk for them.
int Tracker::feature_margin() const { return kFeatureMargin << reference.finest(); }

double Tracker::share_inside(const Matrix3& frame_from_ref) const {
  double inside = 0, all = 0;
  const auto add = [&](std::span<const Point> part) {
    const auto seen = mapped(frame_from_ref, part);
    inside += area_inside(seen, picture), all += std::abs(signed_area(seen));
  };
  add(options.region);
  for (const auto& part : options.also) add(part);
  return inside / std::max(1e-9, all);
}

FeatureImage Tracker::features_around(const Picture& image, const std::vector<Matrix3>& places) const {
  Rect window;
  for (const Matrix3& h : places) {
    const auto r = mapped_bounds(h, reference.box());
    window = unite(window, r ? r->grown(feature_margin()) : picture);
  }
  return {image, window, 1 << reference.finest()};
}

Pyramid Tracker::frame_pyramid(const Picture& image, const Rect& window, const Matrix3& h, int finest, int coarsest,
                               const Runner& by) const {
  const double area = std::abs(signed_area(mapped(h, options.region)) / signed_area(options.region));
  const int zoom = std::clamp(int(std::lround(0.5 * std::log2(area))), -1, 2);
  return pyramid(image, window, std::min(finest, std::max(0, finest + zoom)), std::max(coarsest, coarsest + zoom),
                 false, by);
}

Matrix3 Tracker::next_step(const Past& past) const {
  if (past.before.empty()) return Matrix3::Identity();
  const auto step = [](const Matrix3& to, const Matrix3& from) { return normalised(to * from.inverse()); };
  const Matrix3 &last = past.last.frame_from_ref, &before = past.before[0];
  const Matrix3 steady = step(last, before);
  if (past.before.size() < kRemembered) return steady;
  const Matrix3 earlier = step(before, past.before[1]), first = step(past.before[1], past.before[2]);
  const auto faster = [](const Matrix3& now, const Matrix3& then) { return normalised(now * then.inverse() * now); };
  const bool changes = farthest(normalised(faster(earlier, first) * before), last, options.region) <
                       farthest(normalised(earlier * before), last, options.region);
  return changes ? faster(steady, earlier) : steady;
}

std::optional<Matrix3> Tracker::follow_features(const Past& past, const Picture& image, const Matrix3& expected) const {
  const Matrix3 still = past.last.frame_from_ref, back = still.inverse();
  const auto usable = [&](const Point& p) { return weight_at(reference, past.last, map(back, p)) > 0.2f; };
  const FeatureImage last = features_around(past.image, {still}),
                     now = features_around(image, {still, expected * still});
  const auto g = follow(last, now, mapped(still, feature_support()), usable, expected);
  if (!g) return std::nullopt;
  return g->h;
}

Reference::Options Tracker::alignment_options(double noise) const {
  Reference::Options o;
  // Both footprints average each picture's noise to about 0.6 of what its pixels have.
  o.sigma = 0.6 * std::hypot(noise, reference_noise);
  o.limits = options.limits;
  o.clean = clean;
  return o;
}

Tracker::Past Tracker::set_out(const Picture& image, const Matrix3& frame_from_ref,
                               const std::optional<Path>& reference_path) const {
  Past past{.reference_path = reference_path};
  past.last.frame_from_ref = frame_from_ref;
  past.last.weight = reference.mask();
  past.lost = image.window() != picture;
  past.image = image;
  return past;
}

Tracker::Found Tracker::track(int frame, int direction, Past& past) const {
  Found lost;
  lost.pose = {frame, past.last.frame_from_ref, TrackStatus::lost};
  const Picture image = frames.image(frame);
  if (image.window() != picture) {
    past.lost = lost.unread = true;
    lost.pose.reason = image.empty() ? "the frame could not be read" : "the frame has another size than the reference";
    return lost;
  }
  const Blocked ignore(frames.ignore(frame), kIgnoreGrow);
  const double noise = noise_sigma(image);
  Reference::Options basic = alignment_options(noise);
  basic.from_level = reference.levels() - 1;
  basic.to_level = std::min(reference.finest() + 1, basic.from_level);
  const double near_px = kNearStart * std::ldexp(1.0, basic.from_level);
  const Matrix3 still = past.last.frame_from_ref;
  const bool was_lost = past.lost;
  const auto limited = [&](const Matrix3& h) {
    return plausible(h, options.region) ? within(options.limits, h, options.region, reference.centre()) : h;
  };

  // Until the frames on both sides are known, the plane is taken to move at the speed it had since the last frame.
  const auto set_paths = [&](Reference::Options& o, const Matrix3& h) {
    o.frame_path = o.reference_path = Path{};
    if (was_lost) return;
    o.frame_path = steady_path(h, still, direction, frames.shutter_deg(), corner_quad(options.region));
    o.reference_path = past.reference_path ? *past.reference_path : o.frame_path;
  };
  const auto sure = [](const Alignment& a) { return a.visible > 0.8 && a.inflation < 2; };
  const auto attempt = [&](std::vector<Matrix3> from) {
    for (Matrix3& h : from) h = limited(h);
    std::erase_if(from, [&](const Matrix3& h) { return !plausible(h, options.region); });
    Rect window;
    for (const Matrix3& h : from) {
      const auto r = mapped_bounds(h, reference.box());
      window = unite(window, r ? intersect(r->grown(48), picture) : picture);
    }
    Alignment best;
    if (window.empty()) return best;
    const Pyramid p = frame_pyramid(image, window, from.front(), basic.to_level, basic.from_level, runner);
    // The best start is the one from which most of the texture agrees. One so near to an answer that the coarsest level
    // tells no difference would only find it again.
    for (const Matrix3& h : from) {
      if (best.visible > 0 && farthest(h, best.frame_from_ref, options.region) < near_px) continue;
      Reference::Options o = basic;
      o.to_level = std::min(o.to_level + 1, o.from_level);
      set_paths(o, h);
      Alignment a = past.last;
      a.frame_from_ref = h;
      a = reference.align(p, ignore, a, o, runner);
      if (o.to_level > basic.to_level && plausible(a.frame_from_ref, options.region)) {
        // By now it is known better how far the plane has come.
        o.from_level = o.to_level = basic.to_level;
        o.fresh_light = false, o.position_px = kFromAbove;
        set_paths(o, a.frame_from_ref);
        a = reference.align(p, ignore, a, o, runner);
      }
      if (plausible(a.frame_from_ref, options.region) && a.visible / a.inflation > 1.1 * best.visible / best.inflation)
        best = a;
      if (sure(best)) break;
    }
    return best;
  };
  Found found;
  if (was_lost) {
    if (const auto g = find(FeatureImage(image))) found.alignment = attempt({g->h});
  } else {
    const Matrix3 step = next_step(past), steady = normalised(step * still);
    // Where the plane goes on as it went, features would tell nothing new.
    found.alignment = attempt({steady});
    if (!sure(found.alignment) || !(farthest(found.alignment.frame_from_ref, steady, options.region) < near_px)) {
      std::vector<Matrix3> starts{steady, still};
      if (const auto g = follow_features(past, image, plausible(steady, options.region) ? step : Matrix3::Identity()))
        starts.insert(starts.begin(), normalised(*g * still));
      found.alignment = attempt(starts);
    }
  }
  found.pose = judge(frame, found.alignment);
  // A frame that is not sure of itself may sit in a wrong place, too, where a pattern repeats.
  const auto doubtful = [&](const Pose& p) {
    return p.status == TrackStatus::lost || (p.status == TrackStatus::weak && !(worst_sigma(p) < options.weak_px));
  };
  if (doubtful(found.pose) && !was_lost) {
    if (const auto g = find(FeatureImage(image))) {
      Alignment again = attempt({g->h});
      const Pose pose = judge(frame, again);
      if (pose.status < found.pose.status) found.alignment = std::move(again), found.pose = pose;
    }
  }
  found.noise = noise;
  past.lost = found.pose.status == TrackStatus::lost;
  if (past.lost) {
    found.pose.frame_from_ref = still;
    return found;
  }
  if (!past.reference_path)
    past.reference_path = steady_path(Matrix3::Identity(), found.alignment.frame_from_ref, -direction,
                                      frames.shutter_deg(), corner_quad(options.region));
  if (was_lost)
    past.before.clear();
  else
    past.before.insert(past.before.begin(), still);
  if (past.before.size() > kRemembered) past.before.pop_back();
  past.last = found.alignment;
  past.image = image;
  return found;
}

Tracker::Found Tracker::refine(const Picture& image, const Picture& hidden, const Motion& motion, const Found& rough,
                               const Path& reference_path) const {
  const int frame = rough.pose.frame;
  if (image.window() != picture) return rough;
  const Pose& expected = *motion.find(frame);
  const bool unseen = expected.status == TrackStatus::hidden;
  const Matrix3 start = unseen ? within(options.limits, expected.frame_from_ref, options.region, reference.centre())
                               : rough.pose.frame_from_ref;
  const auto r = mapped_bounds(start, reference.box());
  const Rect window = r ? intersect(r->grown(48), picture) : picture;
  if (window.empty()) return rough;
  const bool shrunk =
      std::abs(signed_area(mapped(start, options.region))) < kShrunk * std::abs(signed_area(options.region));
  Reference::Options o = alignment_options(rough.noise);
  o.fresh_light = false;
  o.position_px = 0.5;
  o.reference_path = reference_path;
  o.frame_path = frame_path(motion, frame, frames.shutter_deg());
  Found found = rough;
  // A long smear leaves little that a fine level could tell, and takes many samples there.
  const double way = std::max(o.reference_path.length(reference.box()), o.frame_path.length(reference.box()));
  int last = 0;
  while (last + 1 < reference.levels() && std::ldexp(way, -last) > kLongWay) ++last;
  const int coarse = std::max(last, reference.finest());
  if (unseen) {  // As coarse as the start may be wrong, and with light found anew.
    Reference::Options wide = o;
    wide.fresh_light = true, wide.position_px = 1, wide.to_level = coarse;
    wide.from_level =
        std::clamp(int(std::ceil(std::log2(1 + 2 * worst_sigma(expected)))), coarse, reference.levels() - 1);
    const Pyramid p = pyramid(image, window, wide.to_level, wide.from_level, shrunk, serial());
    found.alignment = Alignment{.frame_from_ref = start};
    found.alignment = reference.align(p, Blocked(hidden, kIgnoreGrow), found.alignment, wide, serial());
    found.pose = judge(frame, found.alignment);
    if (found.pose.status == TrackStatus::lost) return found;
  }
  for (int level = coarse; level >= 0; --level) {
    o.from_level = o.to_level = level;
    const Pyramid p = level > 0 ? frame_pyramid(image, window, start, level, level, serial())
                                : pyramid(image, window, 0, 0, shrunk, serial());
    found.alignment = reference.align(p, Blocked(hidden, kIgnoreGrow), found.alignment, o, serial());
    found.pose = judge(frame, found.alignment);
    if (found.pose.status == TrackStatus::good && (level <= last || worst_sigma(found.pose) < kFineEnough)) break;
  }
  found.alignment.weight = std::vector<float>();
  return found;
}

Pose Tracker::judge(int frame, const Alignment& a) const {
  Pose pose{frame, a.frame_from_ref, TrackStatus::good, a.residual};
  if (!plausible(a.frame_from_ref, options.region) || a.weight.empty()) {
    pose.status = TrackStatus::lost;
    pose.reason = "no position was found at which the frame looks like the reference";
    return pose;
  }
  const Eigen::MatrixXd covariance = corner_covariance(reference, a);
  if (!covariance.allFinite()) {
    pose.status = TrackStatus::lost;
    pose.reason = "what is seen of the texture does not tell where the plane is";
    return pose;
  }
  pose.corner_covariance.assign(covariance.data(), covariance.data() + covariance.size());
  const double worst = worst_sigma(pose);
  const double inside = share_inside(a.frame_from_ref);
  const auto call = [&](TrackStatus s, std::string why) { pose.status = s, pose.reason = std::move(why); };
  if (inside < kSeenLimit)
    call(TrackStatus::outside, fmt::format("only {:.0f} % of the region lies in the picture", 100 * inside));
  else if (a.visible < kVisibleLimit)
    call(TrackStatus::lost, fmt::format("only {:.0f} % of the texture agrees with the reference", 100 * a.visible));
  else if (a.agreement < kAgreeLimit)
    call(TrackStatus::lost,
         fmt::format("the picture has only {:.0f} % in common with the reference", 100 * std::max(0.0, a.agreement)));
  else if (!(worst < options.weak_px)) {
    const Unfixed u = unfixed(a.covariance, options.limits, a.frame_from_ref, options.region, reference.centre(),
                              reference.radius(), options.weak_px);
    call(TrackStatus::weak, fmt::format("a corner is known to {:.2f} px only", worst));
    if (!u.motions.empty()) pose.reason += ": the texture does not fix " + u.motions;
    if (!u.remedy.empty())
      pose.reason += u.remedy_px < options.weak_px ? "; " + u.remedy + " would do"
                                                   : fmt::format("; {} would make it {:.2f} px", u.remedy, u.remedy_px);
  } else if (a.bending.px > kBent && a.bending.certainty > kSurelyBent)
    call(TrackStatus::weak, fmt::format("the picture bends against the plane by {:.2f} px: by its lens (see "
                                        "estimate_lens), by rows taken one after the other (see estimate_readout), or "
                                        "because the thing is not flat",
                                        a.bending.px));
  else if (!a.converged)
    call(TrackStatus::weak, fmt::format("the alignment still moved by {:.2f} px when it was stopped", a.last_step_px));
  return pose;
}

}  // namespace pw
