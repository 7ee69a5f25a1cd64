#include "track/normal.h"

#include <Eigen/Dense>

namespace pw {

Step solve(const std::vector<TileSums>& tiles, const Light& light, const LightSpread& spread, double damping_px,
           const MotionBasis& basis) {
  // Of any size, though they are known: unrolled, this file takes half as long again to compile.
  using Eigen::MatrixXd, Eigen::VectorXd;
  LightVector prior;
  const auto precision = [](double deviation) { return 1 / (deviation * deviation); };
  const double g = precision(spread.gain), o = precision(spread.offset), sl = precision(spread.slope);
  prior << g, o, g, o, g, o, sl, sl;

  // The unknowns are x = (motion, change of the shared light); each tile's own light d minimises
  // |r + K x - N d|^2 + |tile + d|^2_prior and is put back in.
  MatrixXd s = MatrixXd::Zero(kShared, kShared);
  VectorXd rhs = VectorXd::Zero(kShared);
  std::vector<VectorXd> pull(tiles.size());
  struct Kept {
    MatrixXd kn;
    Eigen::LDLT<MatrixXd> nn;
  };
  std::vector<Kept> kept(tiles.size());
  size_t used = 0;
  for (size_t i = 0; i < tiles.size(); ++i) {
    const TileSums& t = tiles[i];
    if (!(t.count > 0)) continue;
    ++used;
    MatrixXd kk(kShared, kShared), nn = t.nn;
    kk.topLeftCorner(kMotion, kMotion) = t.jj;
    kk.topRightCorner(kMotion, 6) = -t.jn.leftCols<6>();
    kk.bottomLeftCorner(6, kMotion) = -t.jn.leftCols<6>().transpose();
    kk.bottomRightCorner(6, 6) = t.nn.topLeftCorner<6, 6>();
    kept[i].kn.resize(kShared, kLight);
    kept[i].kn.topRows(kMotion) = t.jn;
    kept[i].kn.bottomRows(6) = -t.nn.topRows<6>();
    VectorXd kr(kShared);
    kr.head(kMotion) = t.jr;
    kr.tail(6) = -t.nr.head<6>();
    const LightVector own = light.tile.empty() ? LightVector(LightVector::Zero()) : light.tile[i];
    nn.diagonal() += prior;
    kept[i].nn.compute(nn);
    const MatrixXd nk = kept[i].kn.transpose();
    s += kk - kept[i].kn * kept[i].nn.solve(nk);
    pull[i] = kept[i].kn * kept[i].nn.solve(VectorXd(t.nr - prior.cwiseProduct(own))) - kr;
    rhs += pull[i];
  }
  // The shared light is all but free; a region of one flat tone fixes only one number of each channel's two.
  for (int c = 0; c < 3; ++c)
    s(kMotion + 2 * c, kMotion + 2 * c) += 1, s(kMotion + 2 * c + 1, kMotion + 2 * c + 1) += 10;

  Step step;
  const MatrixXd ll = s.bottomRightCorner(6, 6), lm = s.bottomLeftCorner(6, kMotion);
  step.information = s.topLeftCorner(kMotion, kMotion) - lm.transpose() * Eigen::LDLT<MatrixXd>(ll).solve(lm);
  const Eigen::Index free = basis.cols();
  MatrixXd allowed = MatrixXd::Zero(kShared, free + 6);
  allowed.topLeftCorner(kMotion, free) = basis;
  allowed.bottomRightCorner(6, 6).setIdentity();
  MatrixXd damped = s;
  for (int k = 0; k < kMotion; ++k) damped(k, k) += precision(damping_px);
  const MatrixXd across = allowed.transpose();
  const Eigen::LDLT<MatrixXd> solver(MatrixXd(across * damped * allowed));
  const VectorXd x = allowed * VectorXd(solver.solve(VectorXd(across * rhs)));
  step.motion = x.head<kMotion>();
  step.all << x.tail<6>(), 0, 0;
  step.tile.assign(tiles.size(), LightVector::Zero());
  MatrixXd scatter = MatrixXd::Zero(kShared, kShared);
  for (size_t i = 0; i < tiles.size(); ++i) {
    if (!(tiles[i].count > 0)) continue;
    const LightVector own = light.tile.empty() ? LightVector(LightVector::Zero()) : light.tile[i];
    step.tile[i] = kept[i].nn.solve(VectorXd(tiles[i].nr - prior.cwiseProduct(own) + kept[i].kn.transpose() * x));
    scatter += pull[i] * pull[i].transpose();
  }
  const MatrixXd inverse = allowed * MatrixXd(solver.solve(across));
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
