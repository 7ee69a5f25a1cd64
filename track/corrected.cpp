#include "track/corrected.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "track/region.h"

namespace pw {
namespace {

Quad quad_of(const Matrix3& h, const Quad& corners) {
  Quad to;
  for (int k = 0; k < 4; ++k) to[k] = map(h, corners[k]);
  return to;
}

Quad mixed(double a, const Quad& p, double b, const Quad& q) {
  Quad to;
  for (int k = 0; k < 4; ++k) to[k] = a * p[k] + b * q[k];
  return to;
}

// One way's answer for a frame: the corners with the offset they had where it set out.
struct Answer {
  const Pose* pose = nullptr;
  Matrix3 h = Matrix3::Identity();
  Quad corners;
};

std::optional<Answer> answer(const FollowedWay* way, size_t step, const std::vector<Point>& region) {
  if (!way || step >= way->poses.size() || way->poses[step].status == TrackStatus::lost) return std::nullopt;
  const Pose& pose = way->poses[step];
  const Quad from = corner_quad(region), seen = quad_of(pose.frame_from_ref, from);
  if (way->given == way->believed) return Answer{&pose, pose.frame_from_ref, seen};
  const Quad off = mixed(1, quad_of(way->given, from), -1, quad_of(way->believed, from));
  const Quad to = mixed(1, seen, 1, off);
  const auto h = homography(from, to);
  if (!h || !plausible(*h, region)) return std::nullopt;
  return Answer{&pose, normalised(*h), to};
}

Pose given_pose(int frame, const Matrix3& h, const std::vector<Point>& region) {
  Pose pose{frame, h};
  pose.corner_covariance.assign(4 * region.size() * region.size(), 0.0);
  return pose;
}

// The frames between two given ones (null: there is none on that side), by what was followed from both.
void join(const FollowedWay* forward, const FollowedWay* backward, const std::vector<Point>& region, double apart_px,
          std::vector<Pose>& to) {
  const size_t count = std::max(forward ? forward->poses.size() : 0, backward ? backward->poses.size() : 0);
  const Quad from = corner_quad(region);
  std::vector<std::optional<Answer>> ahead(count), behind(count);
  std::vector<size_t> both;  // Steps that have two answers.
  for (size_t i = 0; i < count; ++i) {
    ahead[i] = answer(forward, i, region), behind[i] = answer(backward, count - 1 - i, region);
    if (ahead[i] && behind[i]) both.push_back(i);
  }
  for (size_t i = 0; i < count; ++i) {
    const std::optional<Answer>&a = ahead[i], &b = behind[i];
    if (!a && !b) {
      to.push_back(forward ? forward->poses[i] : backward->poses[count - 1 - i]);
      continue;
    }
    const double late = (i + 1) / (count + 1.0);
    Pose pose = !b || (a && a->pose->status <= b->pose->status) ? *a->pose : *b->pose;
    pose.frame_from_ref = (a ? a : b)->h;
    if (!both.empty()) {
      // How far the ways are apart; where one has no answer, by the nearest frames that have two, so that nothing
      // jumps.
      const auto next = std::lower_bound(both.begin(), both.end(), i);
      const size_t after = next == both.end() ? both.back() : *next, before = next == both.begin() ? after : next[-1];
      const double share = after > before && i < after ? double(after - i) / double(after - before) : 0;
      const auto apart_at = [&](size_t k) { return mixed(1, behind[k]->corners, -1, ahead[k]->corners); };
      const Quad apart = mixed(share, apart_at(before), 1 - share, apart_at(after));
      const Quad corners = a ? mixed(1, a->corners, late, apart) : mixed(1, b->corners, late - 1, apart);
      const auto h = homography(from, corners);
      if (h && plausible(*h, region)) pose.frame_from_ref = normalised(*h);
    }
    if (a && b) {
      const double way = farthest(a->pose->frame_from_ref, b->pose->frame_from_ref, region);
      if (way > apart_px && pose.status == TrackStatus::good) {
        pose.status = TrackStatus::weak;
        pose.reason =
            fmt::format("followed from frames {} and {} it is {:.1f} px apart", forward->from, backward->from, way);
      }
    }
    to.push_back(std::move(pose));
  }
}

}  // namespace

Result<std::map<int, Matrix3>> fixed_poses(const std::vector<FixedCorners>& fixed, const std::vector<Point>& region,
                                           int reference, int first, int last) {
  std::map<int, Matrix3> poses{{reference, Matrix3::Identity()}};
  std::map<int, const FixedCorners*> seen;
  Problems problems;
  for (const FixedCorners& f : fixed) {
    const auto refuse = [&](std::string what, std::string remedy) {
      problems.push_back({.what = std::move(what), .remedy = std::move(remedy), .file = f.file, .line = f.line});
    };
    if (f.frame < first || f.frame > last) {
      refuse(fmt::format("corners are fixed on frame {}, which is not among the frames {} to {}", f.frame, first, last),
             "take this frame out");
      continue;
    }
    const auto [other, fresh] = seen.emplace(f.frame, &f);
    if (!fresh) {
      refuse(fmt::format("corners are fixed on frame {} twice{}", f.frame,
                         other->second->line ? fmt::format(", in line {} too", other->second->line) : ""),
             "keep one of them");
      continue;
    }
    if (f.corners.size() != region.size()) {
      refuse(
          fmt::format("{} corners are fixed on frame {}, the region has {}", f.corners.size(), f.frame, region.size()),
          "give all of them, in the region's order");
      continue;
    }
    if (f.frame == reference) {
      double way = 0;
      for (size_t i = 0; i < region.size(); ++i) way = std::max(way, (f.corners[i] - region[i]).norm());
      if (!(way <= 0.01))
        refuse(fmt::format("the corners fixed on frame {}, the reference, are not those of the region", f.frame),
               "correct the region itself");
      continue;
    }
    // Four of them to the last bit; normalised equations leave rounding errors.
    const auto h =
        region.size() == 4 ? homography(corner_quad(region), corner_quad(f.corners)) : homography(region, f.corners);
    if (!h || !plausible(*h, region)) {
      refuse(fmt::format("no camera sees the region with its corners as they are fixed on frame {}", f.frame),
             "give them in the region's order, the same way round");
      continue;
    }
    for (size_t i = 0; i < region.size(); ++i) {
      const double way = (map(*h, region[i]) - f.corners[i]).norm();
      if (way <= kMostMisfitPx) continue;
      refuse(fmt::format("corner {} fixed on frame {} is {:.1f} px from where the others put it", i, f.frame, way),
             "look at it again");
      break;
    }
    poses[f.frame] = normalised(*h);
  }
  if (!problems.empty()) return fail(std::move(problems));
  return poses;
}

std::vector<Pose> joined(const std::vector<FollowedWay>& ways, const std::vector<Point>& region, double apart_px) {
  std::map<int, std::pair<const FollowedWay*, const FollowedWay*>> from;  // By the given frame: backward, forward.
  for (const FollowedWay& w : ways) (w.direction > 0 ? from[w.from].second : from[w.from].first) = &w;
  std::vector<Pose> poses;
  const FollowedWay* forward = nullptr;
  for (const auto& [frame, both] : from) {
    const auto& [before, after] = both;
    if (before || forward) join(forward, before, region, apart_px, poses);
    poses.push_back(given_pose(frame, (before ? before : after)->given, region));
    forward = after;
  }
  if (forward) join(forward, nullptr, region, apart_px, poses);
  // Backward from the first given frame alone: in the order visited.
  std::sort(poses.begin(), poses.end(), [](const Pose& a, const Pose& b) { return a.frame < b.frame; });
  return poses;
}

}  // namespace pw
