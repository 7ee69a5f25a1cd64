#include "track/shutter.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>

namespace pw {
namespace {

// Homography that takes the corners there; standing still where that is no homography.
Matrix3 moving(const Quad& corners, const Quad& to) {
  const auto h = homography(corners, to);
  return h ? *h : Matrix3(Matrix3::Identity());
}

}  // namespace

double Path::length(const Rect& r) const {
  double longest = 0;
  for (double x : {double(r.x0), double(r.x1)})
    for (double y : {double(r.y0), double(r.y1)}) {
      const Point p(x, y), a = map(open, p), b = map(close, p);
      const double d = (a - p).norm() + (b - p).norm();
      longest = std::isfinite(d) ? std::max(longest, d) : longest;
    }
  return longest;
}

Path scaled(const Path& p, double scale) {
  const auto change = [scale](const Matrix3& h) {
    return normalised(scaling(1 / scale, 1 / scale) * h * scaling(scale, scale));
  };
  return {change(p.open), change(p.close)};
}

Path frame_path(const Motion& motion, int frame, double shutter_deg) {
  const Pose* middle = motion.find(frame);
  if (!middle || middle->status == TrackStatus::lost) return {};
  std::vector<const Pose*> near;
  for (int f = frame - 4; f <= frame + 4; ++f)
    if (const Pose* p = motion.find(f); p && p->status != TrackStatus::lost) near.push_back(p);
  std::stable_sort(near.begin(), near.end(), [frame](const Pose* a, const Pose* b) {
    return std::abs(a->frame - frame) < std::abs(b->frame - frame);
  });
  // Five even where all lie on one side: with four, the bend of a fast swing is told wrong by enough to see.
  near.resize(std::min<size_t>(near.size(), 5));
  if (near.size() < 2) return {};
  const Quad corners = corner_quad(motion.region);
  const double s = shutter_deg / 720;
  const auto at = [&](double t) {
    Quad to{Point(0, 0), Point(0, 0), Point(0, 0), Point(0, 0)};
    for (const Pose* p : near) {
      double weight = 1;
      for (const Pose* q : near)
        if (q != p) weight *= (frame + t - q->frame) / (p->frame - q->frame);
      for (int k = 0; k < 4; ++k) to[k] += weight * map(p->frame_from_ref, corners[k]);
    }
    // Where the frame's place H(f) c shows the plane at t: H(t)^-1 H(f) c.
    const auto h = homography(corners, to);
    return h ? normalised(h->inverse() * middle->frame_from_ref) : Matrix3(Matrix3::Identity());
  };
  return {at(-s), at(s)};
}

Path steady_path(const Matrix3& h, const Matrix3& before, int direction, double shutter_deg, const Quad& corners) {
  // One frame later a place of this frame shows `next` of what it shows now.
  const Matrix3 next = direction > 0 ? Matrix3(h.inverse() * before) : Matrix3(before.inverse() * h);
  const double s = shutter_deg / 720;
  Quad open = corners, close = corners;
  for (int k = 0; k < 4; ++k) {
    const Point step = s * (map(next, corners[k]) - corners[k]);
    open[k] -= step, close[k] += step;
  }
  return {moving(corners, open), moving(corners, close)};
}

}  // namespace pw
