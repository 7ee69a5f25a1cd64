#include "track/plane.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <optional>

#include "track/align.h"
#include "track/bridge.h"
#include "track/corrected.h"
#include "track/noise.h"
#include "track/region.h"
#include "track/shutter.h"
#include "track/start.h"
#include "track/telling.h"
#include "track/texture.h"

namespace pw {
namespace {

constexpr double kVisibleLimit = 0.15;  // Less of its texture than this visible: hidden or lost.
constexpr double kAgreeLimit = 0.3;     // Less in common with the reference than this: lost.
constexpr double kShrunk = 0.8;         // A region that covers less of its area is seen with aliasing: softened.
constexpr double kNearStart = 0.5;      // Starts nearer to each other are one, pixels of the coarsest level.
constexpr int kFeatureMargin = 40;      // Pixels that features reach in the coarsest picture they are followed in.
constexpr double kLongWay = 24;         // Of a smear, pixels of the level.
// Known to so many pixels from half the size, a corner is not looked for on the whole.
constexpr double kFineEnough = 0.03;
constexpr double kElsewherePx = 3;  // Further than this from a given place, what is followed is something else.
constexpr double kRetryPx = 8;      // A frame that is expected nearer than this is tried again from there.
// What is left bends by so many pixels, and surely: found with drawn planes, of which none does both.
constexpr double kBent = 0.2, kSurelyBent = 20;
constexpr size_t kBatch = 4;  // Frames that are refined at the same time.
// Frames that a clean texture is made of, at most, and the bytes that what they show may take.
constexpr size_t kMostViews = 24, kViewRoom = size_t{1} << 28;
constexpr int kRounds = 3;          // Of texture and positions in turn,
constexpr double kSettled = 0.005;  // unless no corner moved by more in the last, pixels.

struct Tracker {
  const PlaneFrames& frames;
  const PlaneOptions& options;
  const Runner& runner;
  Rect picture;
  Reference reference;
  std::function<std::optional<Guess>(const FeatureImage&)> find;  // In the whole frame, after a loss.
  double reference_noise;
  bool clean = false;  // The reference is a texture of many frames.

  struct Past {  // What the last frames tell about the next one.
    Alignment last;
    FeatureImage image;
    Matrix3 before = Matrix3::Identity();  // The frame before `last`.
    bool lost = false;
    std::optional<Path> reference_path;  // Once a neighbour of the reference is known.
  };
  struct Found {
    Alignment alignment;
    Pose pose;
    double noise = 0;     // Of the frame, code values from 0 to 1.
    bool unread = false;  // There is no picture of that size.
  };

  Past set_out(const Picture& image, const Matrix3& frame_from_ref, const std::optional<Path>& reference_path) const;
  Found track(int frame, int direction, Past& past) const;
  Found refine(const Picture& image, const Picture& hidden, const Motion& motion, const Found& rough,
               const Path& reference_path) const;
  Pose judge(int frame, const Alignment& a) const;
  size_t most_views() const {
    return std::clamp(kViewRoom / (sizeof(f4) * size_t(reference.box().area())), 2 * kFewestViews, kMostViews);
  }
  Reference::Options alignment_options(double noise) const;
  // How far features are looked for around the region; one that is large is shrunk for them.
  int feature_margin() const { return kFeatureMargin << reference.finest(); }
  double share_inside(const Matrix3& frame_from_ref) const;
  FeatureImage features_around(const Picture& image, const std::vector<Matrix3>& places) const;
};

std::vector<Point> mapped(const Matrix3& h, std::span<const Point> polygon) {
  std::vector<Point> out;
  for (const Point& p : polygon) out.push_back(map(h, p));
  return out;
}

// What features are looked for in: the region, or the box about all parts of the plane.
std::vector<Point> feature_support(const PlaneOptions& o, const Rect& box) {
  if (o.also.empty()) return o.region;
  return {Point(box.x0, box.y0), Point(box.x1, box.y0), Point(box.x1, box.y1), Point(box.x0, box.y1)};
}

// Share of the plane's parts that lies in the picture.
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

Reference::Options Tracker::alignment_options(double noise) const {
  Reference::Options o;
  // Both footprints average each picture's noise to about 0.6 of what its pixels have.
  o.sigma = 0.6 * std::hypot(noise, reference_noise);
  o.limits = options.limits;
  o.clean = clean;
  return o;
}

// From a frame on which the plane's place is given.
Tracker::Past Tracker::set_out(const Picture& image, const Matrix3& frame_from_ref,
                               const std::optional<Path>& reference_path) const {
  Past past{.before = frame_from_ref, .reference_path = reference_path};
  past.last.frame_from_ref = frame_from_ref;
  past.last.weight = reference.mask();
  past.lost = image.window() != picture;
  if (!past.lost) past.image = features_around(image, {frame_from_ref});
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
  FeatureImage features;
  const Blocked ignore(frames.ignore(frame), kIgnoreGrow);
  const double noise = noise_sigma(image);
  const Reference::Options basic = alignment_options(noise);
  const Matrix3 still = past.last.frame_from_ref;

  std::vector<Matrix3> starts;
  if (!past.lost) {
    const Matrix3 step = normalised(still * past.before.inverse());
    const Matrix3 steady = normalised(step * still);
    const Matrix3 back = still.inverse();
    const auto usable = [&](const Point& p) { return weight_at(reference, past.last, map(back, p)) > 0.2f; };
    const auto support = mapped(still, feature_support(options, reference.box()));
    const Matrix3 expected = plausible(steady, options.region) ? step : Matrix3(Matrix3::Identity());
    features = features_around(image, {still, expected * still});
    if (const auto g = follow(past.image, features, support, usable, expected))
      starts.push_back(normalised(g->h * still));
    starts.push_back(steady);
    starts.push_back(still);
  } else if (const auto g = find(FeatureImage(image))) {
    starts.push_back(g->h);
  }
  const auto limited = [&](const Matrix3& h) {
    return plausible(h, options.region) ? within(options.limits, h, options.region, reference.centre()) : h;
  };
  for (Matrix3& h : starts) h = limited(h);

  // Until the frames on both sides are known, the plane is taken to move at the speed it had since the last frame.
  const auto set_paths = [&](Reference::Options& o, const Matrix3& h) {
    o.frame_path = o.reference_path = Path{};
    if (past.lost) return;
    o.frame_path = steady_path(h, still, direction, frames.shutter_deg(), corner_quad(options.region));
    o.reference_path = past.reference_path ? *past.reference_path : o.frame_path;
  };
  const auto attempt = [&](const std::vector<Matrix3>& from) {
    Rect window;
    for (const Matrix3& h : from)
      if (plausible(h, options.region)) {
        const auto r = mapped_bounds(h, reference.box());
        window = unite(window, r ? intersect(r->grown(48), picture) : picture);
      }
    Alignment best;
    if (window.empty()) return best;
    Reference::Options o = basic;
    o.from_level = reference.levels() - 1;
    o.to_level = std::min(reference.finest() + 1, o.from_level);
    const Pyramid p = pyramid(image, window, o.to_level, o.from_level, false, runner);
    // The best start is the one from which most of the texture agrees. One so near to an answer that the coarsest level
    // tells no difference would only find it again.
    const double near_px = kNearStart * std::ldexp(1.0, o.from_level);
    for (const Matrix3& h : from) {
      if (!plausible(h, options.region)) continue;
      if (best.visible > 0 && farthest(h, best.frame_from_ref, options.region) < near_px) continue;
      set_paths(o, h);
      Alignment t = past.last;
      t.frame_from_ref = h;
      const Alignment a = reference.align(p, ignore, t, o, runner);
      if (plausible(a.frame_from_ref, options.region) && a.visible / a.inflation > 1.1 * best.visible / best.inflation)
        best = a;
      if (best.visible > 0.8 && best.inflation < 2) break;
    }
    return best;
  };
  Found found;
  found.alignment = attempt(starts);
  found.pose = judge(frame, found.alignment);
  // A frame that is not sure of itself may sit in a wrong place, too, where a pattern repeats.
  const auto doubtful = [&](const Pose& p) {
    return p.status == TrackStatus::lost || (p.status == TrackStatus::weak && !(worst_sigma(p) < options.weak_px));
  };
  if (doubtful(found.pose) && !past.lost) {
    if (const auto g = find(FeatureImage(image))) {
      Alignment again = attempt({limited(g->h)});
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
  past.before = still;
  past.last = found.alignment;
  if (features.empty() || farthest(found.alignment.frame_from_ref, still, options.region) > feature_margin())
    features = features_around(image, {found.alignment.frame_from_ref});
  past.image = std::move(features);
  return found;
}

// To the finest level, now that the frames on both sides tell how the plane moved while the shutter was open; of a
// frame that is hidden so far, from where they have it.
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
    const Pyramid p = pyramid(image, window, level, level, shrunk, serial());
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

tl::unexpected<Problems> refuse(std::string what, std::string remedy) {
  return fail(Problem{.what = std::move(what), .remedy = std::move(remedy)});
}

// Texture and positions in turn, once all frames have been found: against the texture, until the reference frame's own
// place on it is taken out of all others. A frame that is not found better keeps what it has.
struct Together {
  Tracker& tracker;
  const Motion& motion;  // By what was found so far.
  const Path& home;      // Of the reference.
  const Picture &image, &ignore;
  const std::function<bool(int count)>& step;  // So many frames more; false stops.

  std::vector<Tracker::Found> found;  // Those of the tracker, and the reference frame's own at the end.
  std::vector<TextureView> views;
  double moved = 0;  // A corner, at most, in the last round; pixels.

  // Frames of `found` are aligned to the texture (`again`) and looked at from there. False when stopped.
  bool visit(const std::vector<size_t>& which, bool again, bool look) {
    moved = 0;
    for (size_t start = 0; start < which.size(); start += kBatch) {
      const size_t count = std::min(kBatch, which.size() - start);
      std::vector<Picture> images(count), hidden(count);
      std::vector<double> ways(count);
      for (size_t i = 0; i < count; ++i) {
        const int frame = found[which[start + i]].pose.frame;
        images[i] = tracker.frames.image(frame), hidden[i] = tracker.frames.ignore(frame);
      }
      tracker.runner.run(count, [&](size_t i) {
        Tracker::Found& f = found[which[start + i]];
        const Matrix3 before = f.pose.frame_from_ref;
        if (again) f = tracker.refine(images[i], hidden[i], motion, f, home);
        ways[i] = farthest(f.pose.frame_from_ref, before, tracker.options.region);
        if (!look) return;
        const Path own = frame_path(motion, f.pose.frame, tracker.frames.shutter_deg());
        const Blocked blocked(hidden[i], kIgnoreGrow);
        views[start + i] = texture_view(tracker.reference, images[i], blocked, f.alignment, home, own);
      });
      for (double way : ways) moved = std::max(moved, way);
      if (!step(int(count))) return false;
    }
    return true;
  }

  Result<void> run(std::vector<Tracker::Found>& all) {
    const std::vector<int> chosen = texture_frames(motion, tracker.frames.shutter_deg(), tracker.most_views() - 1);
    if (chosen.size() + 1 < kFewestViews)
      return refuse(fmt::format("frames that show the plane well, smeared by no more than {} px: {}; a clean texture "
                                "asks for {}",
                                kMostSmearPx, chosen.size(), kFewestViews - 1),
                    "take refine out, or choose another reference");
    found = all;
    std::vector<size_t> in_texture, others;
    for (size_t i = 0; i < found.size(); ++i) {
      const int frame = found[i].pose.frame;
      if (found[i].pose.status == TrackStatus::lost) continue;
      const auto here = [&](size_t k) { return found[k].pose.frame == frame; };  // Frames may be followed two ways.
      const bool used =
          std::count(chosen.begin(), chosen.end(), frame) && std::none_of(in_texture.begin(), in_texture.end(), here);
      (used ? in_texture : others).push_back(i);
    }
    Tracker::Found own;
    own.pose.frame = tracker.options.reference;
    own.alignment.light.tile.assign(tracker.reference.tiles().size(), LightVector::Zero());
    own.noise = tracker.reference_noise;
    in_texture.push_back(found.size()), found.push_back(own);
    views.resize(in_texture.size());
    if (!visit(in_texture, false, true)) return refuse("stopped", "");
    Picture texture = image;
    tracker.reference_noise /= std::sqrt(double(views.size()));
    tracker.clean = true;
    for (int round = 1; round <= kRounds; ++round) {
      texture = clean_texture(tracker.reference, texture, views, tracker.runner);
      tracker.reference = Reference(texture, ignore, tracker.options.region, tracker.runner, tracker.options.also);
      if (!visit(in_texture, true, round < kRounds)) return refuse("stopped", "");
      if (moved < kSettled) break;
    }
    if (!visit(others, true, false)) return refuse("stopped", "");
    const Pose& place = found.back().pose;
    if (place.status == TrackStatus::lost)
      return refuse("the reference frame has too little in common with the texture of the others",
                    "take refine out, or choose another reference");
    for (size_t i = 0; i < all.size(); ++i)
      if (found[i].pose.seen() && found[i].pose.status <= all[i].pose.status)
        all[i].pose = from_reference(found[i].pose, place, tracker.options.region);
    return {};
  }
};

}  // namespace

Result<Motion> track_plane(const PlaneFrames& frames, const PlaneOptions& options, const Runner& runner,
                           const std::function<bool(int, int)>& progress) {
  const int first = frames.first(), last = frames.last();
  if (options.region.size() < 4)
    return refuse(fmt::format("the region has {} corners", options.region.size()), "a plane needs 4 or more");
  for (const Point& p : options.region)
    if (!p.allFinite()) return refuse("a corner of the region is not a number", "give every corner as [x, y]");
  for (const auto& part : options.also) {
    if (part.size() < 3)
      return refuse(fmt::format("another part of the plane has {} corners", part.size()), "it needs 3 or more");
    for (const Point& p : part)
      if (!p.allFinite())
        return refuse("a corner of another part of the plane is not a number", "give every corner as [x, y]");
  }
  if (options.reference < first || options.reference > last)
    return refuse(
        fmt::format("the reference frame {} is not among the frames {} to {}", options.reference, first, last),
        "choose one of them");
  const auto given = fixed_poses(options.fixed, options.region, options.reference, first, last);
  if (!given) return fail(given.error());
  const Picture image = frames.image(options.reference);
  if (image.empty())
    return refuse(fmt::format("the reference frame {} could not be read", options.reference), "choose another one");
  const Rect picture = image.window();
  const Rect inside = intersect(bounds(options.region), picture);
  if (inside.empty()) return refuse("the region lies outside the picture", "draw it inside the reference frame");
  if (inside.width() < 12 || inside.height() < 12 || std::abs(signed_area(options.region)) < 144)
    return refuse("the region is smaller than 12 x 12 pixels", "draw a larger one");

  const Picture ignore = frames.ignore(options.reference);
  const Blocked blocked(ignore, kIgnoreGrow);
  std::optional<Finder> finder;  // Made when it is first needed.
  Tracker tracker{frames,
                  options,
                  runner,
                  picture,
                  Reference(image, ignore, options.region, runner, options.also),
                  [&](const FeatureImage& frame) {
                    const Alignment whole{.weight = tracker.reference.mask()};
                    const auto usable = [&](const Point& p) {
                      return weight_at(tracker.reference, whole, p) > 0 && (blocked.empty() || !blocked.at(p));
                    };
                    if (!finder)
                      finder.emplace(FeatureImage(image), feature_support(options, tracker.reference.box()), usable);
                    return finder->find(frame);
                  },
                  noise_sigma(image)};
  if (tracker.reference.empty())
    return refuse("all of the region is ignored in the reference frame", "ignore less, or choose another reference");

  Motion motion{picture.width(), picture.height(), options.reference, options.region, {}};
  // One way from a frame whose place is given, in `found`: its own alignment, and those of the frames to the next such.
  struct Leg {
    int from, direction;
    std::optional<size_t> own;
    size_t first, end;
  };
  std::vector<Leg> legs;
  std::vector<Tracker::Found> found;
  // Whether the tracker saw the plane at all on a frame that is given: further away it followed something else.
  const auto believed = [&](size_t own, const Matrix3& h) {
    const Pose& pose = found[own].pose;
    return pose.status != TrackStatus::lost && farthest(pose.frame_from_ref, h, options.region) < kElsewherePx;
  };
  std::vector<int> starts{options.reference};
  for (const auto& [frame, h] : *given)
    if (frame != options.reference) starts.push_back(frame);
  const int twice = given->rbegin()->first - given->begin()->first;  // Seen twice, but for the given ones.
  const int visits = last - first + twice - (int(starts.size()) - 1);
  const int total =
      (options.refine ? 3 : 2) * visits + (options.refine ? (kRounds + 1) * int(tracker.most_views()) : 0);
  int done = 0;
  std::optional<Path> reference_path;
  for (int start : starts) {
    const bool home = start == options.reference;
    const Picture there = home ? image : frames.image(start);
    Matrix3 h = given->at(start);
    std::optional<size_t> own;
    if (!home) {
      Tracker::Past past = tracker.set_out(there, h, reference_path.value_or(Path{}));
      own = found.size();
      found.push_back(tracker.track(start, 1, past));
      if (believed(*own, h)) h = found.back().pose.frame_from_ref;
      if (progress && !progress(++done, total)) return refuse("stopped", "");
    }
    for (int direction : {1, -1}) {
      Tracker::Past past = tracker.set_out(there, h, home ? reference_path : reference_path.value_or(Path{}));
      legs.push_back({start, direction, own, found.size(), found.size()});
      for (int f = start + direction; f >= first && f <= last && !given->contains(f); f += direction) {
        found.push_back(tracker.track(f, direction, past));
        found.back().alignment.weight = std::vector<float>();  // Gone, and its room with it.
        if (progress && !progress(++done, total)) return refuse("stopped", "");
      }
      legs.back().end = found.size();
      if (home) reference_path = past.reference_path;
    }
  }
  const auto collect = [&] {
    std::vector<FollowedWay> ways;
    for (const Leg& leg : legs) {
      const Matrix3& h = given->at(leg.from);
      ways.push_back({leg.from, leg.direction, h, h, {}});
      if (leg.own && believed(*leg.own, h)) ways.back().believed = found[*leg.own].pose.frame_from_ref;
      for (size_t i = leg.first; i < leg.end; ++i) ways.back().poses.push_back(found[i].pose);
    }
    motion.poses = joined(ways, options.region, options.weak_px);
  };
  collect();
  // Frames that are out of sight, or were followed to a wrong place, are tried again from where the others have them.
  std::vector<int> unread;
  for (const Tracker::Found& f : found)
    if (f.unread) unread.push_back(f.pose.frame);
  drop_strays(motion);
  bridge(motion, unread);
  const auto seen = [&](const Tracker::Found& f) {
    const Pose& now = *motion.find(f.pose.frame);
    return now.status == TrackStatus::hidden ? worst_sigma(now) < kRetryPx : f.pose.status != TrackStatus::lost;
  };
  const Path home = frame_path(motion, options.reference, frames.shutter_deg());
  for (size_t start = 0; start < found.size(); start += kBatch) {
    const size_t count = std::min(kBatch, found.size() - start);
    std::vector<Picture> images(count), hidden(count);
    for (size_t i = 0; i < count; ++i) {
      const Pose& pose = found[start + i].pose;
      if (!seen(found[start + i])) continue;
      images[i] = frames.image(pose.frame), hidden[i] = frames.ignore(pose.frame);
    }
    runner.run(count, [&](size_t i) {
      Tracker::Found& f = found[start + i];
      if (seen(f)) f = tracker.refine(images[i], hidden[i], motion, f, home);
    });
    done += static_cast<int>(count);
    if (progress && !progress(done, total)) return refuse("stopped", "");
  }
  collect();
  drop_strays(motion);
  bridge(motion, unread);
  if (!options.refine) return motion;
  const std::function<bool(int)> step = [&](int count) { return !progress || progress(done += count, total); };
  Together together{tracker, motion, home, image, ignore, step, {}, {}};
  if (auto solved = together.run(found); !solved) return fail(solved.error());
  collect();
  drop_strays(motion);
  bridge(motion, unread);
  if (progress && done < total && !progress(total, total)) return refuse("stopped", "");
  return motion;
}

}  // namespace pw
