#include "track/model.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace pw {
namespace {

using Column = Eigen::Matrix<double, kMotion, 1>;
Column unit(int i) { return Column::Unit(kMotion, i); }

// Shifts that leave the picture's x or y of the centre as it is.
Eigen::Vector2d free_shift(LockedAxis lock, const Matrix3& h, const Point& centre) {
  const Eigen::Vector2d along = lock == LockedAxis::x ? Eigen::Vector2d(0, 1) : Eigen::Vector2d(1, 0);
  const Eigen::Vector2d shift = jacobian(h, centre).fullPivLu().solve(along);
  return shift.allFinite() && shift.norm() > 0 ? Eigen::Vector2d(shift.normalized()) : along;
}

double worst_corner(const Eigen::MatrixXd& covariance, const Matrix3& h, std::span<const Point> region,
                    const Point& centre, double radius) {
  double worst = 0;
  for (const Point& c : region) {
    const Eigen::Matrix<double, 2, kMotion> j = jacobian(h, c) * motion_jacobian(c, centre, radius);
    worst = std::max(worst, Eigen::Matrix2d(j * covariance * j.transpose()).diagonal().maxCoeff());
  }
  return std::sqrt(worst);
}

constexpr const char* kModelNames[] = {"homography", "affine", "similarity", "translation"};

}  // namespace

MotionBasis motion_basis(const MotionLimits& limits, const Matrix3& h, const Point& centre) {
  std::vector<Column> columns;
  switch (limits.model) {
    case MotionModel::homography:
      columns = {unit(0), unit(1), unit(3), unit(4), unit(6), unit(7)};
      break;
    case MotionModel::affine:
      columns = {unit(0), unit(1), unit(3), unit(4)};
      break;
    case MotionModel::similarity:
      columns = {unit(0) + unit(4), unit(3) - unit(1)};
      break;
    case MotionModel::translation:
      break;
  }
  if (limits.lock == LockedAxis::none) {
    columns.push_back(unit(2));
    columns.push_back(unit(5));
  } else {
    const Eigen::Vector2d shift = free_shift(limits.lock, h, centre);
    columns.push_back(shift.x() * unit(2) + shift.y() * unit(5));
  }
  MotionBasis basis(kMotion, Eigen::Index(columns.size()));
  for (size_t i = 0; i < columns.size(); ++i) basis.col(Eigen::Index(i)) = columns[i];
  return basis;
}

Matrix3 within(const MotionLimits& limits, const Matrix3& h, std::span<const Point> region, const Point& centre) {
  if (limits.model == MotionModel::homography && limits.lock == LockedAxis::none) return h;
  const Eigen::Index n = Eigen::Index(region.size());
  Eigen::Matrix2Xd from(2, n), to(2, n);
  for (Eigen::Index i = 0; i < n; ++i) from.col(i) = region[size_t(i)], to.col(i) = map(h, region[size_t(i)]);
  Matrix3 out = h;
  const Point a = from.rowwise().mean(), b = to.rowwise().mean();
  if (limits.model == MotionModel::translation) {
    out = translation(b.x() - a.x(), b.y() - a.y());
  } else if (limits.model == MotionModel::similarity) {
    out = Eigen::umeyama(from, to, true);
  } else if (limits.model == MotionModel::affine) {
    const Eigen::Matrix2Xd p = from.colwise() - a, q = to.colwise() - b;
    const Eigen::Matrix2d spread = p * p.transpose();
    const Eigen::Matrix2d linear = Eigen::Matrix2d(q * p.transpose()) * spread.inverse();
    out.setIdentity();
    out.topLeftCorner<2, 2>() = linear;
    out.topRightCorner<2, 1>() = b - linear * a;
  }
  if (limits.lock == LockedAxis::none) return out;
  const Point off = map(out, centre) - centre;
  return limits.lock == LockedAxis::x ? Matrix3(translation(-off.x(), 0) * out)
                                      : Matrix3(translation(0, -off.y()) * out);
}

Unfixed unfixed(const Eigen::Matrix<double, kMotion, kMotion>& covariance, const MotionLimits& limits, const Matrix3& h,
                std::span<const Point> region, const Point& centre, double radius, double limit_px) {
  struct Named {
    const char* name;
    Column along;
  };
  const double half = std::sqrt(0.5);
  const Named all[] = {{"shifts along x", unit(2)},
                       {"shifts along y", unit(5)},
                       {"rotation", half * (unit(3) - unit(1))},
                       {"scale", half * (unit(0) + unit(4))},
                       {"stretch", half * (unit(0) - unit(4))},
                       {"shear", half * (unit(1) + unit(3))},
                       {"tilt across", unit(6)},
                       {"tilt along", unit(7)}};
  Unfixed out;
  // Motions add up in the corners, so that the half of it in one is much; at least the worst is named.
  const auto known = [&](const Named& n) { return std::sqrt(n.along.dot(covariance * n.along)); };
  double worst = 0;
  for (const Named& n : all) worst = std::max(worst, known(n));
  for (const Named& n : all)
    if (!(known(n) < std::min(0.5 * limit_px, worst)))
      out.motions += (out.motions.empty() ? "" : ", ") + std::string(n.name);

  // Nothing is known beyond what the present limits let move, so only narrower ones are tried. Of directions without
  // variance nothing can be learnt: they stay out.
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen{Eigen::MatrixXd(covariance)};
  Eigen::MatrixXd information = Eigen::MatrixXd::Zero(kMotion, kMotion);
  for (int i = 0; i < kMotion; ++i)
    if (const double v = eigen.eigenvalues()[i]; v > 1e-12)
      information += eigen.eigenvectors().col(i) * eigen.eigenvectors().col(i).transpose() / v;
  for (LockedAxis lock : {LockedAxis::none, LockedAxis::x, LockedAxis::y})
    for (int model = int(limits.model); model <= int(MotionModel::translation); ++model) {
      if (limits.lock != LockedAxis::none && lock != limits.lock) continue;
      const MotionLimits tried{MotionModel(model), lock};
      if (tried.model == limits.model && tried.lock == limits.lock) continue;
      const Eigen::MatrixXd basis = motion_basis(tried, h, centre), across = basis.transpose();
      const Eigen::MatrixXd reduced = across * information * basis;
      const Eigen::FullPivLU<Eigen::MatrixXd> lu(reduced);
      if (!lu.isInvertible()) continue;
      const Eigen::MatrixXd known = basis * lu.inverse() * across;
      const double px = worst_corner(known, h, region, centre, radius);
      if (!(px < (out.remedy.empty() ? 2 * limit_px : out.remedy_px))) continue;
      out.remedy_px = px;
      out.remedy = fmt::format("model = \"{}\"", kModelNames[model]);
      if (lock != LockedAxis::none) out.remedy += fmt::format(", lock = \"{}\"", lock == LockedAxis::x ? "x" : "y");
      if (px < limit_px) return out;
    }
  return out;
}

}  // namespace pw
