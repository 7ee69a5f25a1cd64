#include "track/plane.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <map>

#include "track/align.h"
#include "track/noise.h"
#include "track/region.h"
#include "track/start.h"

namespace pw {
namespace {

constexpr double kSeenLimit = 0.12;     // Less of the region than this in the picture: outside.
constexpr double kVisibleLimit = 0.15;  // Less of its texture than this visible: hidden or lost.

struct Tracker {
  const PlaneFrames& frames;
  const PlaneOptions& options;
  const Runner& runner;
  Rect picture;
  Reference reference;
  Finder finder;
  double reference_noise;

  struct Past {  // What the last frames tell about the next one.
    Alignment last;
    FeatureImage image;
    Matrix3 before = Matrix3::Identity();  // The frame before `last`.
    bool lost = false;
  };

  Pose track(int frame, Past& past) const;
  Pose judge(int frame, const Alignment& a, double noise) const;
};

std::vector<Point> mapped(const Matrix3& h, std::span<const Point> polygon) {
  std::vector<Point> out;
  for (const Point& p : polygon) out.push_back(map(h, p));
  return out;
}

bool sane(const Matrix3& h, std::span<const Point> region) {
  if (!h.allFinite()) return false;
  for (const Point& p : region) {
    const double w = h(2, 0) * p.x() + h(2, 1) * p.y() + h(2, 2);
    if (!(w > 1e-6)) return false;
  }
  const double ratio = signed_area(mapped(h, region)) / signed_area(region);
  return ratio > 0.01 && ratio < 100;
}

Pose Tracker::track(int frame, Past& past) const {
  Pose lost{frame, past.last.frame_from_ref, TrackStatus::lost};
  const Picture image = frames.image(frame);
  if (image.window() != picture) {
    past.lost = true;
    lost.reason = image.empty() ? "the frame could not be read" : "the frame has another size than the reference";
    return lost;
  }
  FeatureImage features(image);
  const Blocked ignore(frames.ignore(frame), 3);
  const double noise = noise_sigma(image);

  std::vector<Matrix3> starts;
  const Matrix3 still = past.last.frame_from_ref;
  if (!past.lost) {
    const Matrix3 step = normalised(still * past.before.inverse());
    const Matrix3 steady = normalised(step * still);
    const Matrix3 back = still.inverse();
    const Rect& box = reference.box();
    const auto usable = [&](const Point& p) {
      const Point r = map(back, p);
      const int x = int(std::floor(r.x())), y = int(std::floor(r.y()));
      return box.contains(x, y) && past.last.weight[size_t(y - box.y0) * box.width() + (x - box.x0)] > 0.2f;
    };
    const auto region = mapped(still, options.region);
    if (const auto g =
            follow(past.image, features, region, usable, sane(steady, options.region) ? step : Matrix3::Identity()))
      starts.push_back(normalised(g->h * still));
    starts.push_back(steady);
    starts.push_back(still);
  }
  if (past.lost)
    if (const auto g = finder.find(features)) starts.push_back(g->h);

  const auto attempt = [&](const std::vector<Matrix3>& from) {
    Rect window;
    std::vector<Alignment> tries;
    for (const Matrix3& h : from) {
      if (!sane(h, options.region)) continue;
      const auto r = mapped_bounds(h, reference.box());
      window = unite(window, r ? intersect(r->grown(48), picture) : picture);
      Alignment a = past.last;
      a.frame_from_ref = h;
      tries.push_back(a);
    }
    if (window.empty()) return Alignment{};
    const Pyramid p = pyramid(image, window, reference.levels(), runner);
    Reference::Options o;
    o.sigma = 0.6 * std::hypot(noise, reference_noise);
    o.from_level = reference.levels() - 1;
    o.to_level = std::min(1, o.from_level);
    o.position_px = 1;
    // The best start is the one from which most of the texture agrees.
    Alignment best;
    for (const Alignment& t : tries) {
      const Alignment a = reference.align(p, ignore, t, o, runner);
      if (sane(a.frame_from_ref, options.region) && a.visible / a.inflation > 1.1 * best.visible / best.inflation)
        best = a;
      if (best.visible > 0.8 && best.inflation < 2) break;
    }
    if (best.visible == 0) return best;
    o.from_level = o.to_level = 0;
    o.fresh_light = false;
    o.position_px = 0.6;
    return reference.align(p, ignore, best, o, runner);
  };
  Alignment a = attempt(starts);
  Pose pose = judge(frame, a, noise);
  if (pose.status == TrackStatus::lost && !past.lost) {
    if (const auto g = finder.find(features)) {
      const Alignment again = attempt({g->h});
      const Pose other = judge(frame, again, noise);
      if (other.status != TrackStatus::lost) a = again, pose = other;
    }
  }
  past.lost = pose.status == TrackStatus::lost;
  if (past.lost) {
    pose.frame_from_ref = still;
  } else {
    past.before = still;
    past.last = std::move(a);
    past.image = std::move(features);
  }
  return pose;
}

Pose Tracker::judge(int frame, const Alignment& a, double) const {
  Pose pose{frame, a.frame_from_ref, TrackStatus::good, a.residual};
  if (!sane(a.frame_from_ref, options.region) || a.weight.empty()) {
    pose.status = TrackStatus::lost;
    pose.reason = "no position was found at which the frame looks like the reference";
    return pose;
  }
  const Eigen::MatrixXd covariance = corner_covariance(reference, a);
  pose.corner_covariance.assign(covariance.data(), covariance.data() + covariance.size());
  const double worst = std::sqrt(covariance.diagonal().maxCoeff());
  const auto region = mapped(a.frame_from_ref, options.region);
  const double inside = area_inside(region, picture) / std::max(1e-9, std::abs(signed_area(region)));
  const auto call = [&](TrackStatus s, std::string why) { pose.status = s, pose.reason = std::move(why); };
  if (inside < kSeenLimit)
    call(TrackStatus::outside, fmt::format("only {:.0f} % of the region lies in the picture", 100 * inside));
  else if (a.visible < kVisibleLimit)
    call(TrackStatus::lost, fmt::format("only {:.0f} % of the texture agrees with the reference", 100 * a.visible));
  else if (!(worst < options.weak_px))
    call(TrackStatus::weak, fmt::format("a corner is known to {:.2f} px only", worst));
  else if (!a.converged)
    call(TrackStatus::weak, fmt::format("the alignment still moved by {:.2f} px when it was stopped", a.last_step_px));
  return pose;
}

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
  if (options.reference < first || options.reference > last)
    return refuse(
        fmt::format("the reference frame {} is not among the frames {} to {}", options.reference, first, last),
        "choose one of them");
  const Picture image = frames.image(options.reference);
  if (image.empty())
    return refuse(fmt::format("the reference frame {} could not be read", options.reference), "choose another one");
  const Rect picture = image.window();
  const Rect inside = intersect(bounds(options.region), picture);
  if (inside.empty()) return refuse("the region lies outside the picture", "draw it inside the reference frame");
  if (inside.width() < 12 || inside.height() < 12 || std::abs(signed_area(options.region)) < 144)
    return refuse("the region is smaller than 12 x 12 pixels", "draw a larger one");

  FeatureImage features(image);
  const Picture ignore = frames.ignore(options.reference);
  const Blocked blocked(ignore, 3);
  const auto usable = [&](const Point& p) { return blocked.empty() || !blocked.at(p); };
  Tracker tracker{frames,
                  options,
                  runner,
                  picture,
                  Reference(image, ignore, options.region, runner),
                  Finder(features, options.region, usable),
                  noise_sigma(image)};
  if (tracker.reference.empty())
    return refuse("all of the region is ignored in the reference frame", "ignore less, or choose another reference");

  Motion motion{picture.width(), picture.height(), options.reference, options.region, {}};
  const int total = last - first + 1;
  int done = 1;
  if (progress && !progress(done, total)) return refuse("stopped", "");
  Pose home{options.reference};
  home.corner_covariance.assign(4 * options.region.size() * options.region.size(), 0.0);
  motion.poses.push_back(home);
  for (int direction : {1, -1}) {
    Tracker::Past past{.image = FeatureImage(image)};
    past.last.weight = tracker.reference.mask();
    for (int f = options.reference + direction; f >= first && f <= last; f += direction) {
      motion.poses.push_back(tracker.track(f, past));
      if (progress && !progress(++done, total)) return refuse("stopped", "");
    }
  }
  std::sort(motion.poses.begin(), motion.poses.end(), [](const Pose& a, const Pose& b) { return a.frame < b.frame; });
  return motion;
}

}  // namespace pw
