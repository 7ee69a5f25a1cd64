#include "track/bridge.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "track/region.h"
#include "track/telling.h"

namespace pw {
namespace {

constexpr int kAround = 24;           // Frames on each side from which steps are read.
constexpr int kThrough = 8;           // Frames on each side through which the curve goes.
constexpr int kLags = 4;              // Frames over which steps may hang together.
constexpr double kFew = 3;            // Steps of this many times the median count as that large.
constexpr double kFinestStep = 0.01;  // Pixels: no step is known to be smaller.
constexpr double kUnsure = 4;         // A stray is this many times less certain than most frames...
constexpr double kFar = 6;            // ...and this many standard deviations from where it should be.
constexpr int kStrayRounds = 3;       // Strays one after the other.

bool known(const Pose& p) { return p.status != TrackStatus::lost; }

Eigen::VectorXd corners_of(const Pose& p, const std::vector<Point>& region) {
  Eigen::VectorXd all(2 * region.size());
  for (size_t i = 0; i < region.size(); ++i) {
    const Point q = map(p.frame_from_ref, region[i]);
    all[2 * i] = q.x(), all[2 * i + 1] = q.y();
  }
  return all;
}

// Covariance of a step, px^2, 2n x 2n, from frames first - kAround to last + kAround.
Eigen::MatrixXd steps_around(const Motion& m, int first, int last) {
  const Eigen::Index n = 2 * m.region.size();
  std::vector<std::pair<int, Eigen::VectorXd>> steps;
  for (int f = first - kAround; f <= last + kAround; ++f) {
    const Pose *a = m.find(f - 1), *b = m.find(f), *c = m.find(f + 1);
    if (!a || !b || !c || !known(*a) || !known(*b) || !known(*c)) continue;
    steps.emplace_back(f, corners_of(*a, m.region) - 2 * corners_of(*b, m.region) + corners_of(*c, m.region));
  }
  Eigen::MatrixXd s = kFinestStep * kFinestStep * Eigen::MatrixXd::Identity(n, n);
  if (steps.empty()) return s + Eigen::MatrixXd::Identity(n, n);  // Nothing says how it moves: a pixel.
  std::vector<double> lengths;
  for (const auto& [f, step] : steps) lengths.push_back(step.norm());
  std::nth_element(lengths.begin(), lengths.begin() + lengths.size() / 2, lengths.end());
  const double most = kFew * lengths[lengths.size() / 2];
  for (auto& [f, step] : steps)
    if (step.norm() > most) step *= most / step.norm();
  for (const auto& [f, a] : steps)
    for (const auto& [g, b] : steps)
      if (const int lag = std::abs(f - g); lag <= kLags)
        s += (1 - lag / (kLags + 1.0)) / double(steps.size()) * a * b.transpose();
  return s;
}

// The curve on frames first to last, by frames for which `use` holds among those up to kThrough before and after.
struct Curve {
  int first = 0;
  Eigen::MatrixXd quad;      // A row for each frame: x and y of corner_quad's corners.
  Eigen::VectorXd variance;  // Of each frame, in steps' variances.
};
template <class Use>
Curve curve(const Motion& m, int first, int last, double step_px2, Use use) {
  const int from = first - kThrough, count = last + kThrough - from + 1;
  const Quad corners = corner_quad(m.region);
  Eigen::MatrixXd information = Eigen::MatrixXd::Zero(count, count), sum = Eigen::MatrixXd::Zero(count, 8);
  for (int i = 0; i + 2 < count; ++i) {
    const Eigen::Vector3d step(1, -2, 1);
    information.block<3, 3>(i, i) += step * step.transpose();
  }
  for (int i = 0; i < count; ++i) {
    const Pose* p = m.find(from + i);
    if (!p || !known(*p) || !use(*p)) continue;
    const double sd = worst_sigma(*p);
    const double weight = step_px2 / std::max(kFinestStep * kFinestStep, std::isfinite(sd) ? sd * sd : 0);
    information(i, i) += weight;
    for (int k = 0; k < 4; ++k) sum.row(i).segment<2>(2 * k) += weight * map(p->frame_from_ref, corners[k]).transpose();
  }
  const Eigen::LDLT<Eigen::MatrixXd> solver(information);
  return {first, solver.solve(sum).middleRows(kThrough, last - first + 1),
          solver.solve(Eigen::MatrixXd::Identity(count, count)).diagonal().segment(kThrough, last - first + 1)};
}

std::optional<Matrix3> pose_on(const Curve& c, int frame, const std::vector<Point>& region) {
  Quad to;
  for (int k = 0; k < 4; ++k) to[k] = Point(c.quad(frame - c.first, 2 * k), c.quad(frame - c.first, 2 * k + 1));
  auto h = homography(corner_quad(region), to);
  if (h) *h = normalised(*h);
  return h && plausible(*h, region) ? h : std::nullopt;
}

bool strays(const Motion& m, const Pose& p, const std::vector<const Pose*>& doubted) {
  const Eigen::MatrixXd step = steps_around(m, p.frame, p.frame);
  int others = 0;
  const auto trusted = [&](const Pose& q) { return std::find(doubted.begin(), doubted.end(), &q) == doubted.end(); };
  for (const Pose& q : m.poses) others += known(q) && trusted(q) && std::abs(q.frame - p.frame) <= kThrough;
  if (others < 3) return false;
  const Curve c = curve(m, p.frame, p.frame, step.diagonal().mean(), trusted);
  const auto expected = pose_on(c, p.frame, m.region);
  if (!expected) return false;
  const std::vector<double> own = corner_sigmas(p);
  for (size_t i = 0; i < m.region.size(); ++i) {
    const double way = (map(*expected, m.region[i]) - map(p.frame_from_ref, m.region[i])).norm();
    const double spread = (step(2 * i, 2 * i) + step(2 * i + 1, 2 * i + 1)) * c.variance[0] + own[i] * own[i];
    if (way * way > kFar * kFar * spread) return true;
  }
  return false;
}

}  // namespace

void drop_strays(Motion& m) {
  std::vector<double> sigmas;
  for (const Pose& p : m.poses)
    if (const double s = worst_sigma(p); s > 0) sigmas.push_back(s);
  if (sigmas.empty()) return;
  std::nth_element(sigmas.begin(), sigmas.begin() + sigmas.size() / 2, sigmas.end());
  const double unsure = kUnsure * sigmas[sigmas.size() / 2];
  for (int round = 0; round < kStrayRounds; ++round) {
    std::vector<const Pose*> doubted, found;
    for (const Pose& p : m.poses) {
      const Pose *before = m.find(p.frame - 1), *after = m.find(p.frame + 1);
      const bool beside = (before && !known(*before)) || (after && !known(*after));
      if (beside && known(p) && worst_sigma(p) > unsure) doubted.push_back(&p);
    }
    for (const Pose* p : doubted)
      if (strays(m, *p, doubted)) found.push_back(p);
    if (found.empty()) return;
    for (const Pose* p : found) {
      Pose& pose = m.poses[p - m.poses.data()];
      pose.status = TrackStatus::lost;
      pose.reason = "what is left in sight was mistaken: it leaps from the motion around";
    }
  }
}

void bridge(Motion& m, const std::vector<int>& unread) {
  const Motion seen = m;
  for (const StatusRun& run : status_runs(seen)) {
    const Pose &from = seen.poses[run.first], &to = seen.poses[run.last];
    const int first = from.frame, last = to.frame, count = last - first + 1;
    const Pose *before = seen.find(first - 1), *after = seen.find(last + 1);
    if (known(from) || !before || !after || count > kLongestBridge) continue;
    const Eigen::MatrixXd step = steps_around(seen, first, last);
    const Curve c = curve(seen, first, last, step.diagonal().mean(), [](const Pose&) { return true; });
    for (size_t i = run.first; i <= run.last; ++i) {
      Pose& pose = m.poses[i];
      const double variance = c.variance[pose.frame - first];
      const auto h = pose_on(c, pose.frame, m.region);
      if (!h || std::find(unread.begin(), unread.end(), pose.frame) != unread.end()) continue;
      const Eigen::MatrixXd covariance = variance * step;
      Pose made{pose.frame, *h, TrackStatus::hidden};
      made.corner_covariance.assign(covariance.data(), covariance.data() + covariance.size());
      if (!(worst_sigma(made) < kBridgePx)) continue;
      made.reason = count == 1 ? fmt::format("without sight, between frames {} and {}", before->frame, after->frame)
                               : fmt::format("{} frames without sight, between frames {} and {}", count, before->frame,
                                             after->frame);
      std::vector<Point> region;
      for (const Point& p : m.region) region.push_back(map(*h, p));
      const double inside = area_inside(region, Rect::sized(m.width, m.height)) / std::abs(signed_area(region));
      if (inside < kSeenLimit) {
        made.status = TrackStatus::outside;
        made.reason = fmt::format("{:.0f} % of the region would lie in the picture; {}", 100 * inside, made.reason);
      }
      pose = std::move(made);
    }
  }
}

}  // namespace pw
