#include "track/straighten.h"

#include <Eigen/LU>
#include <algorithm>

namespace pw {
namespace {

constexpr int kGrid = 5;  // Points along each side of the region's box.
constexpr int kMostRounds = 60;
constexpr double kStill = 1e-9;  // Of the picture's height.

}  // namespace

std::vector<Sight> sights_of(const Motion& bend, const std::vector<Pose>& tracked) {
  Point lo = bend.region.at(0), hi = lo;
  for (const Point& c : bend.region) lo = lo.cwiseMin(c), hi = hi.cwiseMax(c);
  const auto ref_from_seen = [&](const Point& p) {
    return bend.poses.empty() ? ideal_from_seen(bend.lens, p, bend.width, bend.height)
                              : bend.ref_from_seen(bend.reference, p);
  };
  std::vector<Sight> sights;
  for (const Pose& pose : tracked) {
    if (pose.status == TrackStatus::lost || pose.frame == bend.reference) continue;
    Sight s{pose.frame, {}, {}};
    const auto was = bend.at(pose.frame);
    for (int j = 0; j < kGrid; ++j)
      for (int i = 0; i < kGrid; ++i) {
        const Point seen = lo + Point(i * (hi - lo).x(), j * (hi - lo).y()) / (kGrid - 1);
        const auto ideal = ref_from_seen(seen);
        if (!ideal) continue;
        const Point there = map(pose.frame_from_ref, *ideal);
        const auto in_frame = was ? bend.seen_from_ref(pose.frame, map(was->inverse(), there))
                                  : seen_from_ideal(bend.lens, there, bend.width, bend.height);
        if (in_frame) s.in_reference.push_back(seen), s.in_frame.push_back(*in_frame);
      }
    if (s.in_frame.size() >= 4) sights.push_back(std::move(s));
  }
  return sights;
}

void straighten(const std::vector<Sight>& sights, Motion& motion) {
  for (int round = 0; round < kMostRounds; ++round) {
    std::vector<Pose> poses = motion.poses;
    double moved = 0;
    for (const Sight& s : sights) {
      const Pose* old = motion.find(s.frame);
      if (!old || old->status == TrackStatus::lost) continue;
      std::vector<Point> from, to;
      for (size_t i = 0; i < s.in_frame.size(); ++i) {
        const auto a = motion.ref_from_seen(motion.reference, s.in_reference[i]);
        const auto b = motion.ref_from_seen(s.frame, s.in_frame[i]);
        if (a && b) from.push_back(*a), to.push_back(map(old->frame_from_ref, *b));
      }
      const auto h = homography(from, to);
      if (!h) continue;
      for (const Point& c : motion.region) moved = std::max(moved, (map(*h, c) - map(old->frame_from_ref, c)).norm());
      poses[old - motion.poses.data()].frame_from_ref = normalised(*h);
    }
    motion.poses = std::move(poses);
    if (!(moved > kStill * motion.height)) break;
  }
}

}  // namespace pw
