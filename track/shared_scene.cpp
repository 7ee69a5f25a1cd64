#include "track/shared_scene.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>

namespace pw {
namespace {

constexpr int kPose = 6;
using PoseChange = Eigen::Matrix<double, kPose, 1>;
using SharedSlope = Eigen::Matrix<double, 8, TwoPlanes::kSize>;
using PoseSlope = Eigen::Matrix<double, 8, kPose>;

Matrix3 turned(const Eigen::Vector3d& by) {
  const double angle = by.norm();
  if (!(angle > 0)) return Matrix3::Identity();
  return Eigen::AngleAxisd(angle, by / angle).toRotationMatrix();
}

Step3 changed(const Step3& s, const PoseChange& by) {
  return {turned(by.head<3>()) * s.rotation, s.translation + by.tail<3>()};
}

QuadPlaces predicted(const TwoPlanes& p, int plane, const Step3& s, const Point& centre) {
  const Eigen::Vector3d slope = p.slope(plane);
  QuadPlaces seen;
  for (Eigen::Index i = 0; i < 8; i += 2) {
    const Eigen::Vector3d ray((p.home[plane][i] - centre.x()) / p.focal, (p.home[plane][i + 1] - centre.y()) / p.focal,
                              1);
    const Eigen::Vector3d to = s.rotation * ray + s.translation * slope.dot(ray);
    seen.segment<2>(i) = p.focal * to.head<2>() / to.z() + centre;
  }
  return seen;
}

// The normal equations, frames eliminated (Schur complement).
struct Equations {
  TwoPlanes::Covariance shared;
  TwoPlanes::Change pull;
  std::vector<Eigen::Matrix<double, TwoPlanes::kSize, kPose>> across;
  std::vector<Eigen::Matrix<double, kPose, kPose>> own;
  std::vector<PoseChange> own_pull;
};

class Fitting {
 public:
  Fitting(const std::vector<Sighting>& sightings, const Point& centre, bool fixed_focal, bool fixed_angle)
      : sightings_(sightings), centre_(centre), fixed_focal_(fixed_focal), fixed_angle_(fixed_angle) {}

  double cost(const TwoPlanes& p, const std::vector<Step3>& steps) const {
    double sum = 0;
    for (const Sighting& s : sightings_) sum += error(s, p, step(s, steps)).squaredNorm();
    return std::isfinite(sum) ? sum : 1e300;
  }
  double squares_px(const SceneFit& f) const {
    double sum = 0;
    for (const Sighting& s : sightings_)
      sum += (s.seen - predicted(f.planes, s.plane, step(s, f.steps), centre_)).squaredNorm();
    return sum;
  }
  double freedom(const SceneFit& f) const {
    return 8.0 * double(sightings_.size()) - TwoPlanes::kSize - kPose * double(f.steps.size()) + fixed_focal_ +
           fixed_angle_;
  }
  Equations equations(const SceneFit& f) const {
    Equations e;
    e.shared.setZero(), e.pull.setZero();
    e.across.assign(f.steps.size(), Eigen::Matrix<double, TwoPlanes::kSize, kPose>::Zero());
    e.own.assign(f.steps.size(), Eigen::Matrix<double, kPose, kPose>::Zero());
    e.own_pull.assign(f.steps.size(), PoseChange::Zero());
    for (const Sighting& s : sightings_) {
      const Step3 at = step(s, f.steps);
      const QuadPlaces r = error(s, f.planes, at);
      const SharedSlope j = shared_slope(s, f.planes, at);
      e.shared += j.transpose() * j, e.pull += j.transpose() * r;
      if (s.frame < 0) continue;
      const PoseSlope k = pose_slope(s, f.planes, at);
      const auto n = size_t(s.frame);
      e.across[n] += j.transpose() * k, e.own[n] += k.transpose() * k, e.own_pull[n] += k.transpose() * r;
    }
    hold(e, fixed_focal_, 0), hold(e, fixed_angle_, 4);
    return e;
  }

 private:
  Step3 step(const Sighting& s, const std::vector<Step3>& steps) const {
    return s.frame < 0 ? Step3{} : steps[size_t(s.frame)];
  }
  QuadPlaces error(const Sighting& s, const TwoPlanes& p, const Step3& at) const {
    return s.whiten * (predicted(p, s.plane, at, centre_) - s.seen);
  }
  SharedSlope shared_slope(const Sighting& s, const TwoPlanes& p, const Step3& at) const {
    SharedSlope j = SharedSlope::Zero();
    for (int i = 0; i < TwoPlanes::kSize; ++i) {
      const int corner = i - 6 - 8 * s.plane;
      if (i >= 6 && (corner < 0 || corner >= 8)) continue;  // The other plane's.
      const double width = i < 6 ? 1e-6 : 1e-4;
      TwoPlanes::Change by = TwoPlanes::Change::Zero();
      by[i] = width;
      const QuadPlaces more = predicted(p.changed(by), s.plane, at, centre_);
      j.col(i) = s.whiten * (more - predicted(p.changed(-by), s.plane, at, centre_)) / (2 * width);
    }
    return j;
  }
  PoseSlope pose_slope(const Sighting& s, const TwoPlanes& p, const Step3& at) const {
    PoseSlope j;
    for (int i = 0; i < kPose; ++i) {
      PoseChange by = PoseChange::Zero();
      by[i] = 1e-6;
      const QuadPlaces more = predicted(p, s.plane, changed(at, by), centre_);
      j.col(i) = s.whiten * (more - predicted(p, s.plane, changed(at, -by), centre_)) / 2e-6;
    }
    return j;
  }
  static void hold(Equations& e, bool held, int i) {
    if (!held) return;
    e.shared.row(i).setZero(), e.shared.col(i).setZero(), e.shared(i, i) = 1, e.pull[i] = 0;
    for (auto& a : e.across) a.row(i).setZero();
  }

  const std::vector<Sighting>& sightings_;
  Point centre_;
  bool fixed_focal_, fixed_angle_;
};

// What the frames leave of the shared equations.
struct Reduced {
  TwoPlanes::Covariance information;
  TwoPlanes::Change pull;
};
Reduced reduced(const Equations& e) {
  Reduced r{e.shared, e.pull};
  for (size_t k = 0; k < e.own.size(); ++k) {
    const Eigen::LDLT<Eigen::Matrix<double, kPose, kPose>> own(e.own[k]);
    r.information -= e.across[k] * own.solve(e.across[k].transpose());
    r.pull -= e.across[k] * own.solve(e.own_pull[k]);
  }
  return r;
}

SceneFit stepped(const SceneFit& f, Equations e, double damping) {
  e.shared.diagonal() *= 1 + damping;
  for (auto& own : e.own) own.diagonal() *= 1 + damping;
  const Reduced r = reduced(e);
  TwoPlanes::Change by = -r.information.ldlt().solve(r.pull);
  SceneFit next = f;
  for (size_t k = 0; k < f.steps.size(); ++k)
    next.steps[k] = changed(f.steps[k], -e.own[k].ldlt().solve(e.own_pull[k] + e.across[k].transpose() * by));
  by[0] = std::clamp(by[0], -0.5, 0.5), by[5] = std::clamp(by[5], -1.0, 1.0);
  next.planes = f.planes.changed(by);
  return next;
}

// Of the shared unknowns. Scaled to a unit diagonal first, so that what nothing fixes shows as an eigenvalue near 0.
TwoPlanes::Covariance covariance(const TwoPlanes::Covariance& information, const TwoPlanes::Covariance& told) {
  const TwoPlanes::Change scale = told.diagonal().cwiseMax(1e-300).cwiseSqrt().cwiseInverse();
  const TwoPlanes::Covariance unit = scale.asDiagonal() * information * scale.asDiagonal();
  const Eigen::SelfAdjointEigenSolver<TwoPlanes::Covariance> parts(unit);
  constexpr double kRounding = 1e-11;  // Of what the information is a difference of, with slopes by differences.
  const TwoPlanes::Change spread = parts.eigenvalues().cwiseMax(kRounding).cwiseInverse();
  const TwoPlanes::Covariance v = parts.eigenvectors() * spread.asDiagonal() * parts.eigenvectors().transpose();
  return scale.asDiagonal() * v * scale.asDiagonal();
}

}  // namespace

Eigen::Vector3d TwoPlanes::normal(int plane) const {
  if (plane == 0) return axes.col(0);
  return std::cos(angle) * axes.col(0) + std::sin(angle) * axes.col(1);
}

Eigen::Vector3d TwoPlanes::slope(int plane) const { return plane == 0 ? normal(0) : normal(1) / distance; }

TwoPlanes TwoPlanes::changed(const Change& by) const {
  TwoPlanes p = *this;
  p.focal *= std::exp(by[0]);
  p.axes = turned(by.segment<3>(1)) * axes;
  p.angle += by[4];
  p.distance *= std::exp(by[5]);
  p.home[0] += by.segment<8>(6), p.home[1] += by.segment<8>(14);
  return p;
}

SceneFit fit_scene(const std::vector<Sighting>& sightings, SceneFit f, const Point& centre, bool fixed_focal,
                   bool fixed_angle, int rounds) {
  const Fitting fitting(sightings, centre, fixed_focal, fixed_angle);
  f.cost = fitting.cost(f.planes, f.steps);
  Equations e = fitting.equations(f);
  double damping = 1e-3;
  for (int round = 0; round < rounds && damping < 1e12; ++round) {
    SceneFit next = stepped(f, e, damping);
    next.cost = fitting.cost(next.planes, next.steps);
    if (!(next.cost <= f.cost)) {
      damping *= 10;
      continue;
    }
    const bool done = f.cost - next.cost < 1e-12 * (1 + f.cost);
    f = std::move(next);
    damping = std::max(1e-12, damping / 10);
    e = fitting.equations(f);
    if (done) break;
  }
  // More than what was expected of the tracks counts as more uncertainty.
  f.inflation = std::max(1.0, f.cost / std::max(1.0, fitting.freedom(f)));
  f.covariance = f.inflation * covariance(reduced(e).information, e.shared);
  if (fixed_focal) f.covariance.row(0).setZero(), f.covariance.col(0).setZero();
  if (fixed_angle) f.covariance.row(4).setZero(), f.covariance.col(4).setZero();
  f.rms_px = std::sqrt(fitting.squares_px(f) / (8.0 * double(sightings.size())));
  return f;
}

}  // namespace pw
