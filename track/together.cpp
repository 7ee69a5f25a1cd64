#include "track/together.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "track/region.h"

namespace pw {
namespace {

// Frames that a clean texture is made of, at most, and the bytes that what they show may take.
constexpr size_t kMostViews = 24, kCleanViews = 12, kViewRoom = size_t{1} << 28;
constexpr int kRounds = 3;          // Of texture and positions in turn, where that is asked for,
constexpr double kSettled = 0.005;  // unless no corner moved by more in the last, pixels.

size_t most_views(const Tracker& tracker) {
  const size_t view = sizeof(f4) * size_t(std::max<int64_t>(1, tracker.reference.box().area()));
  return std::clamp(kViewRoom / view, 2 * kFewestViews, tracker.options.refine ? kMostViews : kCleanViews);
}

int rounds(const Tracker& tracker) { return tracker.options.refine ? kRounds : 1; }

tl::unexpected<Problems> not_solved(std::string what, std::string remedy = "") {
  return fail(Problem{.what = std::move(what), .remedy = std::move(remedy)});
}

}  // namespace

int Together::visits(const Tracker& tracker) { return (rounds(tracker) + 1) * int(most_views(tracker)); }

bool Together::visit(const std::vector<size_t>& which, bool again, bool look) {
  moved_ = 0;
  for (size_t start = 0; start < which.size(); start += kBatch) {
    const size_t count = std::min(kBatch, which.size() - start);
    std::vector<Picture> images(count), hidden(count);
    std::vector<double> ways(count);
    for (size_t i = 0; i < count; ++i) {
      const int frame = found_[which[start + i]].pose.frame;
      images[i] = tracker_.frames.image(frame), hidden[i] = tracker_.frames.ignore(frame);
    }
    tracker_.runner.run(count, [&](size_t i) {
      Tracker::Found& f = found_[which[start + i]];
      const Matrix3 before = f.pose.frame_from_ref;
      if (again) f = tracker_.refine(images[i], hidden[i], motion_, f, home_);
      ways[i] = farthest(f.pose.frame_from_ref, before, tracker_.options.region);
      if (!look) return;
      const Path own = frame_path(motion_, f.pose.frame, tracker_.frames.shutter_deg());
      const Blocked blocked(hidden[i], kIgnoreGrow);
      views_[start + i] = texture_view(tracker_.reference, images[i], blocked, f.alignment, home_, own);
    });
    for (double way : ways) moved_ = std::max(moved_, way);
    if (!step_(int(count))) return false;
  }
  return true;
}

Result<void> Together::run(std::vector<Tracker::Found>& all) {
  const std::vector<int> chosen = texture_frames(motion_, tracker_.frames.shutter_deg(), most_views(tracker_) - 1);
  const bool asked = tracker_.options.refine;
  if (chosen.size() + 1 < kFewestViews && !asked) return {};
  if (chosen.size() + 1 < kFewestViews)
    return not_solved(fmt::format("frames that show the plane well, smeared by no more than {} px: {}; a clean texture "
                                  "asks for {}",
                                  kMostSmearPx, chosen.size(), kFewestViews - 1),
                      "take refine out, or choose another reference");
  found_ = all;
  std::vector<size_t> in_texture, others;
  for (size_t i = 0; i < found_.size(); ++i) {
    const int frame = found_[i].pose.frame;
    if (found_[i].pose.status == TrackStatus::lost) continue;
    const auto here = [&](size_t k) { return found_[k].pose.frame == frame; };  // Frames may be followed two ways.
    const bool used =
        std::count(chosen.begin(), chosen.end(), frame) && std::none_of(in_texture.begin(), in_texture.end(), here);
    (used ? in_texture : others).push_back(i);
  }
  Tracker::Found own;
  own.pose.frame = tracker_.options.reference;
  own.alignment.light.tile.assign(tracker_.reference.tiles().size(), LightVector::Zero());
  own.noise = tracker_.reference_noise;
  in_texture.push_back(found_.size()), found_.push_back(own);
  views_.resize(in_texture.size());
  if (!visit(in_texture, false, true)) return not_solved("stopped");
  Picture texture = image_;
  tracker_.reference_noise /= std::sqrt(double(views_.size()));
  tracker_.clean = true;
  const int last = rounds(tracker_);
  for (int round = 1; round <= last; ++round) {
    texture = clean_texture(tracker_.reference, texture, views_, tracker_.runner);
    tracker_.reference = Reference(texture, ignore_, tracker_.options.region, tracker_.runner, tracker_.options.also);
    if (!visit(in_texture, true, round < last)) return not_solved("stopped");
    if (moved_ < kSettled) break;
  }
  if (!visit(others, true, false)) return not_solved("stopped");
  const Pose& place = found_.back().pose;
  if (place.status == TrackStatus::lost && !asked) return {};
  if (place.status == TrackStatus::lost)
    return not_solved("the reference frame has too little in common with the texture of the others",
                      "take refine out, or choose another reference");
  for (size_t i = 0; i < all.size(); ++i)
    if (found_[i].pose.seen() && found_[i].pose.status <= all[i].pose.status)
      all[i].pose = from_reference(found_[i].pose, place, tracker_.options.region);
  return {};
}

}  // namespace pw
