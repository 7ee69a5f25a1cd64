#include "track/normal.h"

#include <Eigen/Dense>

namespace pw {
namespace {

using f8 = float __attribute__((vector_size(32)));
f8 splat8(float v) { return f8{v, v, v, v, v, v, v, v}; }

// Row sums are kept in float and added up in double, so that a tile's sums hold seven digits.
struct RowSums {
  f8 jj[kMotion], jn[kLight], jr;
  float channel[3][10], nr[kLight], rr, count;
};

void add_row(const TileInput& in, const Rect& tile, int y, const float* light, RowSums& s) {
  s = RowSums{};
  const int64_t stride = in.middle->window().width();
  const float inv = static_cast<float>(1 / in.radius);
  const float Y = (y + 0.5f - static_cast<float>(in.centre.y())) * inv;
  const float half_w = 0.5f * tile.width(), half_h = 0.5f * tile.height();
  const float eta = (y + 0.5f - tile.y0 - half_h) / half_h;
  const f4 gain{light[0], light[2], light[4], 0}, offset{light[1], light[3], light[5], 0};
  const f4 *ref = &in.reference->at(tile.x0, y), *frame = &in.frame->at(tile.x0, y);
  const f4 *mid = &in.middle->at(tile.x0, y), *weight = &in.weight->at(tile.x0, y);
  for (int i = 0; i < tile.width(); ++i) {
    const f4 w = weight[i];
    if (!(w[3] > 0)) continue;
    const float X = (tile.x0 + i + 0.5f - static_cast<float>(in.centre.x())) * inv;
    const float xi = (i + 0.5f - half_w) / half_w;
    const f4* m = mid + i;
    // Five-point derivative.
    const f4 gx = (splat(8) * (m[1] - m[-1]) - (m[2] - m[-2])) * splat(1 / 12.f);
    const f4 gy = (splat(8) * (m[stride] - m[-stride]) - (m[2 * stride] - m[-2 * stride])) * splat(1 / 12.f);
    const f4 r4 = frame[i] - ((gain + splat(light[6] * xi + light[7] * eta)) * ref[i] + offset);
    s.count += w[3];
    for (int c = 0; c < 3; ++c) {
      const float wc = w[c], a = gx[c], b = gy[c], r = r4[c], v = ref[i][c];
      if (!(wc > 0)) continue;
      const float q = a * X + b * Y;
      const f8 j{a * X, a * Y, a, b * X, b * Y, b, -X * q, -Y * q};
      const f8 wj = splat8(wc) * j;
      for (int k = 0; k < kMotion; ++k) s.jj[k] += splat8(j[k]) * wj;
      s.jn[2 * c] += splat8(v) * wj;
      s.jn[2 * c + 1] += wj;
      s.jn[6] += splat8(v * xi) * wj;
      s.jn[7] += splat8(v * eta) * wj;
      s.jr += splat8(r) * wj;
      const float wv = wc * v, wvv = wv * v;
      float* t = s.channel[c];
      t[0] += wvv, t[1] += wv, t[2] += wvv * xi, t[3] += wvv * eta, t[4] += wc;
      t[5] += wv * xi, t[6] += wv * eta, t[7] += wvv * xi * xi, t[8] += wvv * xi * eta, t[9] += wvv * eta * eta;
      const float wr = wc * r, wvr = wv * r;
      s.nr[2 * c] += wvr, s.nr[2 * c + 1] += wr, s.nr[6] += wvr * xi, s.nr[7] += wvr * eta;
      s.rr += wr * r;
    }
  }
}

}  // namespace

TileSums accumulate(const TileInput& in, const Rect& tile, const LightVector& light) {
  TileSums t;
  t.jj.setZero(), t.jn.setZero(), t.nn.setZero(), t.jr.setZero(), t.nr.setZero();
  float l[kLight];
  for (int i = 0; i < kLight; ++i) l[i] = static_cast<float>(light[i]);
  for (int y = tile.y0; y < tile.y1; ++y) {
    RowSums s;
    add_row(in, tile, y, l, s);
    for (int i = 0; i < kMotion; ++i) {
      for (int k = 0; k < kMotion; ++k) t.jj(i, k) += s.jj[i][k];
      for (int k = 0; k < kLight; ++k) t.jn(i, k) += s.jn[k][i];
      t.jr(i) += s.jr[i];
    }
    for (int c = 0; c < 3; ++c) {
      const float* m = s.channel[c];
      const int g = 2 * c, o = g + 1;
      t.nn(g, g) += m[0], t.nn(g, o) += m[1], t.nn(g, 6) += m[2], t.nn(g, 7) += m[3], t.nn(o, o) += m[4];
      t.nn(o, 6) += m[5], t.nn(o, 7) += m[6], t.nn(6, 6) += m[7], t.nn(6, 7) += m[8], t.nn(7, 7) += m[9];
    }
    for (int k = 0; k < kLight; ++k) t.nr(k) += s.nr[k];
    t.rr += s.rr, t.count += s.count;
  }
  t.nn.triangularView<Eigen::StrictlyLower>() = t.nn.transpose();
  return t;
}

Step solve(const std::vector<TileSums>& tiles, const Light& light, const LightSpread& spread, double damping_px) {
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
  MatrixXd damped = s;
  for (int k = 0; k < kMotion; ++k) damped(k, k) += precision(damping_px);
  const Eigen::LDLT<MatrixXd> solver(damped);
  const VectorXd x = solver.solve(rhs);
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
  const MatrixXd inverse = solver.solve(MatrixXd::Identity(kShared, kShared));
  const double small_sample = used > kMotion + 1 ? double(used) / (used - kMotion) : double(kMotion);
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
