#include "track/plane.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "track/bridge.h"
#include "track/corrected.h"
#include "track/noise.h"
#include "track/region.h"
#include "track/shutter.h"
#include "track/telling.h"
#include "track/together.h"
#include "track/tracker.h"

namespace pw {
namespace {

constexpr double kElsewherePx = 3;   // Further than this from a given place, what is followed is something else.
constexpr double kHeavyGrain = 0.3;  // Of the reference's gradients is noise: it is made clean.
constexpr double kRetryPx = 8;       // A frame that is expected nearer than this is tried again from there.

tl::unexpected<Problems> refuse(std::string what, std::string remedy) {
  return fail(Problem{.what = std::move(what), .remedy = std::move(remedy)});
}

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
                    if (!finder) {
                      const Alignment whole{.weight = tracker.reference.mask()};
                      const auto usable = [&](const Point& p) {
                        return weight_at(tracker.reference, whole, p) > 0 && (blocked.empty() || !blocked.at(p));
                      };
                      finder.emplace(FeatureImage(image), tracker.feature_support(), usable);
                    }
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
  const bool grainy = options.keep_clean && noise_in_gradients(image, tracker.reference.box(), tracker.reference.mask(),
                                                               tracker.reference_noise) > kHeavyGrain;
  const bool together = options.refine || grainy;
  const int total = together ? 3 * visits + Together::visits(tracker) : 2 * visits;
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
  if (!together) return motion;
  Together all(tracker, motion, home, image, ignore,
               [&](int count) { return !progress || progress(done += count, total); });
  if (auto solved = all.run(found); !solved) return fail(solved.error());
  collect();
  drop_strays(motion);
  bridge(motion, unread);
  if (progress && done < total && !progress(total, total)) return refuse("stopped", "");
  return motion;
}

}  // namespace pw
