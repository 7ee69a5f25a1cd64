#include "track/telling.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <set>

namespace pw {
namespace {

template <class Measure>
int frame_of_largest(const Motion& m, Measure measure) {
  const auto smaller = [&](const Pose& a, const Pose& b) { return measure(a) < measure(b); };
  return std::max_element(m.poses.begin(), m.poses.end(), smaller)->frame;
}

}  // namespace

std::optional<Point> corner_seen(const Motion& m, const Pose& pose, size_t corner) {
  const Point p = m.region[corner];
  const auto seen =
      m.bent() ? m.seen_between(pose.frame, m.reference, p) : std::optional<Point>(map(pose.frame_from_ref, p));
  return seen && seen->allFinite() ? seen : std::nullopt;
}

std::vector<double> corner_sigmas(const Pose& pose) {
  std::vector<double> sigmas;
  if (pose.status == TrackStatus::lost) return sigmas;
  const size_t side = static_cast<size_t>(std::lround(std::sqrt(static_cast<double>(pose.corner_covariance.size()))));
  for (size_t i = 0; i + 1 < side; i += 2) {
    const double xx = pose.corner_covariance[i * side + i], yy = pose.corner_covariance[(i + 1) * side + i + 1];
    const double xy = pose.corner_covariance[i * side + i + 1];
    sigmas.push_back(std::sqrt(std::max(0.0, (xx + yy) / 2 + std::hypot((xx - yy) / 2, xy))));
  }
  return sigmas;
}

double worst_sigma(const Pose& pose) {
  const auto sigmas = corner_sigmas(pose);
  return sigmas.empty() ? std::numeric_limits<double>::quiet_NaN() : *std::max_element(sigmas.begin(), sigmas.end());
}

bool has_residual(const Pose& pose) { return pose.status != TrackStatus::lost && pose.residual > 0; }

std::vector<StatusRun> status_runs(const Motion& m) {
  std::vector<StatusRun> all;
  for (size_t i = 0; i < m.poses.size(); ++i) {
    const bool goes_on =
        !all.empty() && m.poses[i].status == m.poses[i - 1].status && m.poses[i].frame == m.poses[i - 1].frame + 1;
    if (goes_on)
      all.back().last = i;
    else
      all.push_back({i, i});
  }
  return all;
}

std::vector<int> telling_frames(const std::vector<const Motion*>& motions, size_t most) {
  std::set<int> all;
  std::vector<int> first;  // Those that tell most, in the order of how much.
  for (const Motion* m : motions)
    for (const Pose& p : m->poses) all.insert(p.frame);
  const std::vector<int> frames(all.begin(), all.end());
  if (frames.size() <= most) return frames;
  for (const Motion* m : motions) {
    if (m->poses.empty()) continue;
    if (m->find(m->reference)) first.push_back(m->reference);
    first.push_back(frame_of_largest(*m, [](const Pose& p) {
      const double s = worst_sigma(p);
      return std::isfinite(s) ? s : -1;
    }));
    first.push_back(frame_of_largest(*m, [](const Pose& p) { return has_residual(p) ? p.residual : -1; }));
  }
  for (const Motion* m : motions)
    for (const StatusRun& run : status_runs(*m)) first.push_back(m->poses[run.first].frame);
  std::set<int> chosen;
  for (int f : first)
    if (chosen.size() < std::max<size_t>(1, most * 2 / 3)) chosen.insert(f);
  const size_t left = most - chosen.size();
  for (size_t i = 0; i < left; ++i)
    chosen.insert(frames[left == 1 ? frames.size() / 2 : i * (frames.size() - 1) / (left - 1)]);
  return {chosen.begin(), chosen.end()};
}

}  // namespace pw
