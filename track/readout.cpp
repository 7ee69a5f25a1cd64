#include "track/readout.h"

#include <fmt/format.h>

#include <Eigen/LU>
#include <algorithm>
#include <cmath>

namespace pw {
namespace {

constexpr int kFewest = 8;
constexpr double kMostSd = 0.1;
constexpr int kRobustRounds = 8;
constexpr double kFinest = 1e-3;  // No track is known better, pixels across the region.

struct Line {  // y = slope x, seen with noise.
  double x, y;
};

double median(std::vector<double> v) {
  const auto middle = v.begin() + v.size() / 2;
  std::nth_element(v.begin(), middle, v.end());
  return *middle;
}

}  // namespace

Result<Readout> readout_left(const Motion& m) {
  const auto refuse = [](std::string why) {
    return fail(Problem{.what = "the readout is not seen well enough: " + std::move(why),
                        .remedy = "give it as a number, or use a shot in which the camera shakes more"});
  };
  Point middle(0, 0);
  for (const Point& c : m.region) middle += c / double(m.region.size());
  const auto usable = [&](int f) {
    const Pose* p = m.find(f);
    return p && (p->status == TrackStatus::good || p->status == TrackStatus::weak) ? p : nullptr;
  };
  // Departures from a similarity, for a readout of 1 and a speed of one picture height per frame.
  struct Seen {
    double lean, stretch, vx, vy;
  };
  const auto look = [&](int f) -> std::optional<Seen> {
    const Pose* p = usable(f);
    const auto before = m.at(f - 0.25), after = m.at(f + 0.25);
    if (!p || !usable(f - 1) || !usable(f + 1) || !before || !after) return std::nullopt;
    const Eigen::Matrix2d j = jacobian(p->frame_from_ref, middle);
    const Point v = 2 * (map(*after, middle) - map(*before, middle));
    const double size = std::sqrt(std::abs(j.determinant()));
    if (!(size > 0) || !std::isfinite(size) || !v.allFinite()) return std::nullopt;
    return Seen{(j(0, 1) + j(1, 0)) / size, (j(1, 1) - j(0, 0)) / size, v.x() / m.height, v.y() / m.height};
  };
  std::vector<Line> lines;
  double speed = 0;
  for (const Pose& p : m.poses) {
    const auto a = look(p.frame - 1), b = look(p.frame), c = look(p.frame + 1);
    if (!a || !b || !c) continue;
    const auto bend = [](double x, double y, double z) { return y - 0.5 * (x + z); };
    lines.push_back({bend(a->vx, b->vx, c->vx), bend(a->lean, b->lean, c->lean)});
    lines.push_back({bend(a->vy, b->vy, c->vy), bend(a->stretch, b->stretch, c->stretch)});
    speed +=
        lines[lines.size() - 1].x * lines[lines.size() - 1].x + lines[lines.size() - 2].x * lines[lines.size() - 2].x;
  }
  const int frames = int(lines.size() / 2);
  if (frames < kFewest) return refuse(fmt::format("only {} frames in a row were tracked", frames));
  if (!(speed > 0)) return refuse("the plane moves at a steady speed");
  // Least squares with Tukey's weights: a frame whose track is off must not lean the line.
  std::vector<double> weight(lines.size(), 1);
  double slope = 0, xx = 0, scatter = 0;
  for (int round = 0; round < kRobustRounds; ++round) {
    double xy = 0, rest = 0, count = 0;
    xx = 0;
    for (size_t i = 0; i < lines.size(); ++i)
      xx += weight[i] * lines[i].x * lines[i].x, xy += weight[i] * lines[i].x * lines[i].y;
    if (!(xx > 0)) return refuse("too few frames agree");
    slope = xy / xx;
    std::vector<double> away;
    for (const Line& l : lines) away.push_back(std::abs(l.y - slope * l.x));
    const double limit = 4.685 * 1.4826 * median(away);
    for (size_t i = 0; i < lines.size(); ++i) {
      const double u = limit > 0 ? away[i] / limit : 0;
      rest += weight[i] * away[i] * away[i], count += weight[i];
      weight[i] = u < 1 ? (1 - u * u) * (1 - u * u) : 0;
    }
    scatter = count > 1 ? rest / (count - 1) : 0;
  }
  // Second differences of neighbours share frames: 1.5 of the variance of the middle one, correlated by -2/3; so what
  // white noise leaves in the slope is at most the sum of both.
  double radius = 0;
  for (const Point& c : m.region) radius = std::max(radius, (c - middle).norm());
  const double finest = kFinest / radius, sd = std::sqrt((scatter + finest * finest) / xx * 2);
  if (!(sd <= kMostSd)) return refuse(fmt::format("it is known to {:.2f} of a frame only", sd));
  return Readout{slope, sd, frames};
}

}  // namespace pw
