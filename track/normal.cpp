#include "track/normal.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace pw {
namespace {

using Eigen::MatrixXd, Eigen::VectorXd;
using SharedMatrix = Eigen::Matrix<double, kShared, kShared>;
using SharedVector = Eigen::Matrix<double, kShared, 1>;

// Tiles count by Student's t with so many degrees of freedom: leaves in the wind and what a codec left standing have
// much more weight in the mean than they are worth.
constexpr double kTileFreedom = 5;
constexpr int kShift[] = {2, 5};  // Those of the motion's numbers that shift all.
constexpr int kReweighings = 4;   // Of weighing.

double precision(double deviation) { return 1 / (deviation * deviation); }

// A tile without its own light: what it says of x = (motion, change of the shared light). Its light d minimises
// |r + K x - N d|^2 + |tile + d|^2_prior, whose normal matrix is L L'.
struct Reduced {
  Reduced() {}  // Nothing is zeroed: there are many.

  SharedMatrix own;                               // Its part of the normal matrix.
  SharedVector pull;                              // And of the right side.
  Eigen::Matrix<double, kLight, kLight> lower;    // L.
  Eigen::Matrix<double, kLight, kShared> across;  // L^-1 N'K.
  LightVector along;                              // L^-1 (N'r - prior tile).
  double weight = 0;                              // 0: it says nothing.

  LightVector light(const SharedVector& x) const {
    LightVector d = along + across * x;
    for (int i = kLight - 1; i >= 0; --i) {
      for (int k = i + 1; k < kLight; ++k) d[i] -= lower(k, i) * d[k];
      d[i] /= lower(i, i);
    }
    return d;
  }
};

// By rows of one matrix for all right sides: nothing is allocated, and what is done to a row is one loop.
void reduce(const TileSums& t, const LightVector& tile, const LightVector& prior, Reduced& r) {
  if (!(t.count > 0)) return;
  Eigen::Matrix<double, kLight, kShared + 2, Eigen::RowMajor> side;  // N'K, the vector, and one to fill registers.
  side.leftCols<kMotion>() = t.jn.transpose();
  side.middleCols<6>(kMotion) = -t.nn.leftCols<6>();
  side.col(kShared) = t.nr - prior.cwiseProduct(tile);
  side.col(kShared + 1).setZero();
  r.lower = t.nn;
  r.lower.diagonal() += prior;
  for (int i = 0; i < kLight; ++i) {
    for (int k = 0; k < i; ++k) {
      side.row(i) -= r.lower(i, k) * side.row(k);
      for (int j = i; j < kLight; ++j) r.lower(j, i) -= r.lower(j, k) * r.lower(i, k);
    }
    if (!(r.lower(i, i) > 0)) return;
    const double root = std::sqrt(r.lower(i, i));
    side.row(i) /= root;
    for (int j = i; j < kLight; ++j) r.lower(j, i) /= root;
  }
  r.across = side.leftCols<kShared>(), r.along = side.col(kShared);
  r.own.topLeftCorner<kMotion, kMotion>() = t.jj;
  r.own.topRightCorner<kMotion, 6>() = -t.jn.leftCols<6>();
  r.own.bottomLeftCorner<6, kMotion>() = -t.jn.leftCols<6>().transpose();
  r.own.bottomRightCorner<6, 6>() = t.nn.topLeftCorner<6, 6>();
  r.pull.head<kMotion>() = -t.jr, r.pull.tail<6>() = t.nr.head<6>();
  for (int i = 0; i < kLight; ++i) {
    const SharedVector row = r.across.row(i).transpose();
    r.own -= row * row.transpose();
    r.pull += r.along[i] * row;
  }
  r.weight = 1;
}

// Weighs each tile by the shift it still asks for, in the metric of what it knows of shifts. Returns how much of the
// normal matrix is left of the derivative of the weighted pulls, 0..1.
double weigh(std::vector<Reduced>& tiles, const SharedVector& x) {
  std::vector<double> much(tiles.size(), 0), sorted;
  for (size_t i = 0; i < tiles.size(); ++i) {
    const Reduced& t = tiles[i];
    if (!(t.weight > 0)) continue;
    Eigen::Matrix2d known = t.own(kShift, kShift);
    const Eigen::Vector2d shift(t.pull[2] - t.own.col(2).dot(x), t.pull[5] - t.own.col(5).dot(x));
    known.diagonal().array() += 1e-6 * known.trace() + 1e-12;
    much[i] = shift.dot(Eigen::Vector2d(known.inverse() * shift));
    sorted.push_back(much[i]);
  }
  if (sorted.empty()) return 1;
  const auto middle = sorted.begin() + sorted.size() / 2;
  std::nth_element(sorted.begin(), middle, sorted.end());
  const double unit = std::max(1e-12, *middle / 1.386);  // Median of chi^2 of two.
  double all = 0, steep = 0;
  for (size_t i = 0; i < tiles.size(); ++i) {
    Reduced& t = tiles[i];
    if (!(t.weight > 0)) continue;
    const double q = much[i] / unit, told = t.own(2, 2) + t.own(5, 5);
    t.weight = (kTileFreedom + 2) / (kTileFreedom + q);
    all += t.weight * told, steep += t.weight * told * kTileFreedom / (kTileFreedom + q);
  }
  return all > 0 ? steep / all : 1;
}

}  // namespace

Step solve(const std::vector<TileSums>& tiles, const Light& light, const LightSpread& spread, double damping_px,
           const MotionBasis& basis) {
  LightVector prior;
  const double g = precision(spread.gain), o = precision(spread.offset), sl = precision(spread.slope);
  prior << g, o, g, o, g, o, sl, sl;
  const auto own_light = [&](size_t i) {
    return light.tile.empty() ? LightVector(LightVector::Zero()) : light.tile[i];
  };
  std::vector<Reduced> parts(tiles.size());
  for (size_t i = 0; i < tiles.size(); ++i) reduce(tiles[i], own_light(i), prior, parts[i]);

  const Eigen::Index free = basis.cols();
  MatrixXd allowed = MatrixXd::Zero(kShared, free + 6);
  allowed.topLeftCorner(kMotion, free) = basis;
  allowed.bottomRightCorner(6, 6).setIdentity();
  const MatrixXd across = allowed.transpose();
  SharedMatrix s;
  SharedVector x;
  Eigen::LDLT<MatrixXd> solver;
  double steep = 1;
  for (int round = 0; round < kReweighings; ++round) {
    if (round > 0) steep = weigh(parts, x);
    s.setZero();
    SharedVector rhs = SharedVector::Zero();
    for (const Reduced& t : parts)
      if (t.weight > 0) s += t.weight * t.own, rhs += t.weight * t.pull;
    // The shared light is all but free; a region of one flat tone fixes only one number of each channel's two.
    for (int c = 0; c < 3; ++c)
      s(kMotion + 2 * c, kMotion + 2 * c) += 1, s(kMotion + 2 * c + 1, kMotion + 2 * c + 1) += 10;
    SharedMatrix damped = s;
    for (int k = 0; k < kMotion; ++k) damped(k, k) += precision(damping_px);
    solver.compute(MatrixXd(across * damped * allowed));
    x = allowed * VectorXd(solver.solve(VectorXd(across * rhs)));
  }

  Step step;
  const MatrixXd ll = s.bottomRightCorner(6, 6), lm = s.bottomLeftCorner(6, kMotion);
  step.information = s.topLeftCorner(kMotion, kMotion) - lm.transpose() * Eigen::LDLT<MatrixXd>(ll).solve(lm);
  step.motion = x.head<kMotion>();
  step.all << x.tail<6>(), 0, 0;
  step.tile.assign(tiles.size(), LightVector::Zero());
  step.shift.resize(tiles.size());
  SharedMatrix scatter = SharedMatrix::Zero();
  size_t used = 0;
  for (size_t i = 0; i < tiles.size(); ++i) {
    const Reduced& t = parts[i];
    if (!(t.weight > 0)) continue;
    ++used;
    step.shift[i] = {t.own(kShift, kShift), t.pull(kShift), tiles[i].count};
    step.tile[i] = t.light(x);
    const SharedVector pull = t.weight * t.pull;
    scatter += pull * pull.transpose();
  }
  const MatrixXd inverse = allowed * MatrixXd(solver.solve(across)) / steep;
  const double small_sample = used > size_t(free) + 1 ? double(used) / double(used - free) : double(free);
  step.covariance = small_sample * MatrixXd(inverse * scatter * inverse).topLeftCorner(kMotion, kMotion);
  return step;
}

Matrix3 small_homography(const Eigen::Matrix<double, kMotion, 1>& p, const Point& centre, double radius) {
  Matrix3 m;
  m << p[0], p[1], p[2], p[3], p[4], p[5], p[6], p[7], 0;
  m = m / radius + Matrix3::Identity();
  return normalised(translation(centre.x(), centre.y()) * scaling(radius, radius) * m *
                    scaling(1 / radius, 1 / radius) * translation(-centre.x(), -centre.y()));
}

Eigen::Matrix<double, 2, kMotion> motion_jacobian(const Point& x, const Point& centre, double radius) {
  const double X = (x.x() - centre.x()) / radius, Y = (x.y() - centre.y()) / radius;
  Eigen::Matrix<double, 2, kMotion> j;
  j << X, Y, 1, 0, 0, 0, -X * X, -X * Y, 0, 0, 0, X, Y, 1, -X * Y, -Y * Y;
  return j;
}

}  // namespace pw
