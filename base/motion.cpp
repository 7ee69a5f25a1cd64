#include "base/motion.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace pw {
namespace {
constexpr std::string_view kNames[] = {"good", "weak", "hidden", "outside", "lost"};
}

std::string_view name(TrackStatus s) { return kNames[static_cast<int>(s)]; }

std::optional<TrackStatus> track_status(std::string_view name) {
  for (int i = 0; i < 5; ++i)
    if (kNames[i] == name) return static_cast<TrackStatus>(i);
  return std::nullopt;
}

Quad corner_quad(const std::vector<Point>& region) {
  if (region.size() == 4) return {region[0], region[1], region[2], region[3]};
  Point lo = region.at(0), hi = region.at(0);
  for (const Point& p : region) lo = lo.cwiseMin(p), hi = hi.cwiseMax(p);
  return {lo, Point(hi.x(), lo.y()), hi, Point(lo.x(), hi.y())};
}

const Pose* Motion::find(int frame) const {
  const auto it = std::lower_bound(poses.begin(), poses.end(), frame, [](const Pose& p, int f) { return p.frame < f; });
  return it != poses.end() && it->frame == frame ? &*it : nullptr;
}

std::optional<Matrix3> Motion::at(double t) const {
  if (!std::isfinite(t) || std::abs(t) > 1e8) return std::nullopt;
  const int base = static_cast<int>(std::floor(t));
  if (t == base) {
    const Pose* p = find(base);
    if (p && p->status != TrackStatus::lost) return p->frame_from_ref;
    if (p) return std::nullopt;
  }
  // The nearest usable frames, as many on each side where there are that many, in ascending order.
  const int most = readout == 0 ? 4 : 6;
  std::vector<const Pose*> near;
  for (int f = base + 1 - most; f <= base + most; ++f) {
    const Pose* p = find(f);
    if (p && p->status != TrackStatus::lost) near.push_back(p);
  }
  std::stable_sort(near.begin(), near.end(),
                   [t](const Pose* a, const Pose* b) { return std::abs(a->frame - t) < std::abs(b->frame - t); });
  if (near.size() > size_t(most)) near.resize(most);
  if (near.empty() || std::abs(near[0]->frame - t) > 1) return std::nullopt;
  std::sort(near.begin(), near.end(), [](const Pose* a, const Pose* b) { return a->frame < b->frame; });
  // Beyond the ends a straight line through the last two is safer than a cubic.
  if (t < near.front()->frame && near.size() > 2) near.resize(2);
  if (t > near.back()->frame && near.size() > 2) near.erase(near.begin(), near.end() - 2);

  const Quad from = corner_quad(region);
  Quad to{Point(0, 0), Point(0, 0), Point(0, 0), Point(0, 0)};
  for (size_t i = 0; i < near.size(); ++i) {
    double weight = 1;
    for (size_t j = 0; j < near.size(); ++j)
      if (j != i) weight *= (t - near[j]->frame) / (near[i]->frame - near[j]->frame);
    for (int k = 0; k < 4; ++k) to[k] += weight * map(near[i]->frame_from_ref, from[k]);
  }
  return homography(from, to);
}

std::optional<Matrix3> Motion::between(double to, double from) const {
  if (to == from) return Matrix3(Matrix3::Identity());
  const auto a = at(to), b = at(from);
  if (!a || !b) return std::nullopt;
  return normalised(*a * b->inverse());
}

namespace {

// Third coordinate of where p goes, with the sign that makes it positive for what lies before the camera, as the region
// does.
double depth(const Matrix3& frame_from_ref, const std::vector<Point>& region, const Point& p) {
  const auto third = [&](const Point& q) {
    return frame_from_ref(2, 0) * q.x() + frame_from_ref(2, 1) * q.y() + frame_from_ref(2, 2);
  };
  if (region.empty()) return third(p);
  Point sum(0, 0);
  for (const Point& q : region) sum += q;
  return third(p) * third(sum / double(region.size()));
}

// The time of a row, from that of the middle one. No kink near the picture's edge: what is smooth there is drawn fast.
double row_time(const Motion& m, double y) { return m.readout * (std::clamp(y / m.height, -0.5, 1.5) - 0.5); }

}  // namespace

std::optional<Point> Motion::ref_from_seen(double t, const Point& seen) const {
  const auto ideal = ideal_from_seen(lens, seen, width, height);
  if (!ideal) return std::nullopt;
  const auto h = at(readout == 0 ? t : t + row_time(*this, seen.y()));
  if (!h) return std::nullopt;
  const Point p = map(h->inverse(), *ideal);
  return p.allFinite() && depth(*h, region, p) > 0 ? std::optional(p) : std::nullopt;
}

std::optional<Point> Motion::seen_from_ref(double t, const Point& ideal) const {
  double when = t;
  Point last(NAN, NAN);
  // A step is as much smaller than the one before as the plane is slower than the rows.
  for (int i = 0; i < 30; ++i) {
    const auto h = at(when);
    if (!h || !(depth(*h, region, ideal) > 0)) return std::nullopt;
    const auto seen = seen_from_ideal(lens, map(*h, ideal), width, height);
    if (!seen || readout == 0 || (*seen - last).norm() < 1e-9) return seen;
    last = *seen;
    when = t + row_time(*this, seen->y());
  }
  return std::nullopt;
}

std::optional<Point> Motion::seen_between(double to, double from, const Point& seen) const {
  if (to == from) return seen;
  const auto p = ref_from_seen(from, seen);
  return p ? seen_from_ref(to, *p) : std::nullopt;
}

}  // namespace pw
