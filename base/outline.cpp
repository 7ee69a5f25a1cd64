#include "base/outline.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <climits>
#include <cmath>

#include "base/contour_match.h"
#include "base/contour_pair.h"

namespace pw {
namespace {

// Speed at a key between two sides with speeds a (lasting ha) and b (lasting hb).
Point speed(const Point& a, const Point& b, double ha, double hb) {
  const Point v = (a * hb + b * ha) / (ha + hb);
  const double most = 3 * std::min(a.norm(), b.norm());
  return v.norm() > most ? Point(v * (most / v.norm())) : v;
}

// Places of one point at up to four keys k-1 .. k+2 (those that exist are in 0..3), times t[], at time `at` within
// [t[1], t[2]]: cubic Hermite.
struct Times {
  double t[4];
  bool before, after;
};
Point between_keys(const Point p[4], const Times& k, double at, bool smooth) {
  const double h = k.t[2] - k.t[1], s = (at - k.t[1]) / h;
  const Point d = (p[2] - p[1]) / h;
  if (!smooth) return p[1] + s * (p[2] - p[1]);
  const Point m0 = k.before ? speed((p[1] - p[0]) / (k.t[1] - k.t[0]), d, k.t[1] - k.t[0], h) : d;
  const Point m1 = k.after ? speed(d, (p[3] - p[2]) / (k.t[3] - k.t[2]), h, k.t[3] - k.t[2]) : d;
  return p[1] + s * (p[2] - p[1]) + s * (1 - s) * h * ((1 - s) * (m0 - d) - s * (m1 - d));
}

// The motion at the time nearest to the one asked for that it knows.
Matrix3 nearest_pose(const Motion& m, double time) {
  if (const auto h = m.at(time)) return *h;
  const Pose* best = nullptr;
  for (const Pose& p : m.poses)
    if (p.status != TrackStatus::lost && (!best || std::abs(p.frame - time) < std::abs(best->frame - time))) best = &p;
  return best ? best->frame_from_ref : Matrix3::Identity();
}

}  // namespace

Outline::Outline(std::map<int, Shape> keys, Between between) : keys_(std::move(keys)), between_(between) {
  build(keys_);
}

Result<Outline> Outline::carried(std::map<int, Shape> keys, const Motion& motion, Between between) {
  constexpr double kSide =
      48;  // Short enough that a cubic seen in perspective stays one within a hundredth of a pixel.
  Outline o;
  o.between_ = between;
  std::map<int, Shape> at_reference;
  Problems problems;
  for (const auto& [frame, shape] : keys) {
    const auto h = motion.at(frame);
    if (!h) {
      problems.push_back({.what = fmt::format("the outline has a key where the motion that carries it is {}",
                                              motion.find(frame) ? "lost" : "not known"),
                          .remedy = "move the key to a frame where the motion is good, or draw the outline without it",
                          .frame = frame});
      continue;
    }
    const Matrix3 back = h->inverse();
    Shape& s = at_reference[frame];
    for (const Contour& c : shape.contours) s.contours.push_back(mapped(with_sides_below(c, kSide), back));
  }
  if (!problems.empty()) return fail(std::move(problems));
  o.build(at_reference);
  o.keys_ = std::move(keys);
  o.motion_ = motion;
  return o;
}

void Outline::build(const std::map<int, Shape>& keys) {
  std::vector<size_t> open;         // Tracks alive at the last key ...
  std::vector<Contour> last_drawn;  // ... and their contours there.
  int last_frame = INT_MIN;
  for (const auto& [frame, shape] : keys) {
    std::vector<Contour> drawn;
    for (const Contour& c : shape.contours)
      if (c.knots.size() > 1) drawn.push_back(c);
    std::vector<size_t> now(drawn.size(), SIZE_MAX);
    std::vector<bool> goes_on(open.size());
    for (const auto& [i, j] : paired(last_drawn, drawn)) now[j] = open[i], goes_on[i] = true;
    for (size_t i = 0; i < open.size(); ++i)
      if (!goes_on[i]) tracks_[open[i]].end = frame;
    for (size_t j = 0; j < drawn.size(); ++j) {
      if (now[j] == SIZE_MAX) {
        now[j] = tracks_.size();
        tracks_.push_back({last_frame == INT_MIN ? INT_MIN : frame, INT_MAX, {}, {}});
      }
      tracks_[now[j]].frames.push_back(frame);
      tracks_[now[j]].drawings.push_back(drawn[j]);
    }
    open = std::move(now);
    last_drawn = std::move(drawn);
    last_frame = frame;
  }
  for (Track& t : tracks_) t.drawings = conformed(t.drawings);
}

Shape Outline::at(double time) const {
  return at(time, static_cast<int>(std::clamp(std::floor(time + 0.5), -1e9, 1e9)));
}

Shape Outline::at(double time, int frame) const {
  Shape shape;
  for (const Track& t : tracks_) {
    if (frame < t.begin || frame >= t.end) continue;
    const size_t n = t.frames.size();
    const size_t next =
        static_cast<size_t>(std::upper_bound(t.frames.begin(), t.frames.end(), time) - t.frames.begin());
    if (next == 0 || next == n || time == t.frames[next - 1]) {
      shape.contours.push_back(t.drawings[next == 0 ? 0 : next - 1]);
      continue;
    }
    const size_t k = next - 1;
    const size_t at_key[4] = {k ? k - 1 : 0, k, next, std::min(next + 1, n - 1)};
    Times times{{}, k > 0, next + 1 < n};
    for (int i = 0; i < 4; ++i) times.t[i] = t.frames[at_key[i]];
    const auto moved = [&](size_t knot, Point Knot::*part) {
      Point p[4];
      for (int i = 0; i < 4; ++i) p[i] = t.drawings[at_key[i]].knots[knot].*part;
      return between_keys(p, times, time, between_ == Between::smooth);
    };
    Contour c = t.drawings[k];
    for (size_t i = 0; i < c.knots.size(); ++i)
      c.knots[i] = {moved(i, &Knot::at), moved(i, &Knot::in), moved(i, &Knot::out)};
    shape.contours.push_back(std::move(c));
  }
  return motion_ ? mapped(shape, nearest_pose(*motion_, time)) : shape;
}

bool Outline::covers(double time) const { return !motion_ || motion_->at(time).has_value(); }

}  // namespace pw
