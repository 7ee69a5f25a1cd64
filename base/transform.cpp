#include "base/transform.h"

#include <Eigen/Dense>
#include <cmath>
#include <limits>
#include <vector>

namespace pw {

Eigen::Matrix2d jacobian(const Matrix3& h, const Point& p) {
  const double w = h(2, 0) * p.x() + h(2, 1) * p.y() + h(2, 2);
  const Point q = map(h, p);
  Eigen::Matrix2d j;
  j << h(0, 0) - q.x() * h(2, 0), h(0, 1) - q.x() * h(2, 1), h(1, 0) - q.y() * h(2, 0), h(1, 1) - q.y() * h(2, 1);
  return j / w;
}

Matrix3 normalised(const Matrix3& h) { return h(2, 2) == 0 ? h : Matrix3(h / h(2, 2)); }

Matrix3 inverted(const Matrix3& h) { return normalised(h.inverse()); }

Matrix3 translation(double dx, double dy) {
  Matrix3 m = Matrix3::Identity();
  m(0, 2) = dx;
  m(1, 2) = dy;
  return m;
}

Matrix3 scaling(double sx, double sy) { return Eigen::Vector3d(sx, sy, 1).asDiagonal(); }

namespace {

// Similarity that moves the centroid to 0 and the mean distance to sqrt 2; nothing when all points coincide.
std::optional<Matrix3> conditioner(std::span<const Point> points) {
  Point mean(0, 0);
  for (const Point& p : points) mean += p;
  mean /= static_cast<double>(points.size());
  double distance = 0;
  for (const Point& p : points) distance += (p - mean).norm();
  distance /= static_cast<double>(points.size());
  if (!(distance > 0) || !std::isfinite(distance)) return std::nullopt;
  const double s = std::sqrt(2.0) / distance;
  return Matrix3(scaling(s, s) * translation(-mean.x(), -mean.y()));
}

bool has_collinear_triple(const Quad& q) {
  const double size = std::max({(q[0] - q[2]).norm(), (q[1] - q[3]).norm(), (q[0] - q[1]).norm()});
  for (int skip = 0; skip < 4; ++skip) {
    const Point a = q[(skip + 1) % 4], b = q[(skip + 2) % 4], c = q[(skip + 3) % 4];
    const double area = (b - a).x() * (c - a).y() - (b - a).y() * (c - a).x();
    if (!(std::abs(area) > 1e-10 * size * size)) return true;
  }
  return false;
}

// Takes (1,0,0), (0,1,0), (0,0,1) and (1,1,1) to the four points, conditioned: its columns are three of them, each
// times the share it has in the fourth (Cramer's rule).
Matrix3 basis_of(const Quad& q, const Matrix3& conditioner) {
  Eigen::Vector3d p[4];
  for (int i = 0; i < 4; ++i) p[i] = map(conditioner, q[i]).homogeneous();
  const auto volume = [](const Eigen::Vector3d& a, const Eigen::Vector3d& b, const Eigen::Vector3d& c) {
    return a.dot(b.cross(c));
  };
  Matrix3 m;
  m << volume(p[3], p[1], p[2]) * p[0], volume(p[0], p[3], p[2]) * p[1], volume(p[0], p[1], p[3]) * p[2];
  return m;
}

}  // namespace

std::optional<Matrix3> homography(std::span<const Point> from, std::span<const Point> to) {
  if (from.size() < 4 || from.size() != to.size()) return std::nullopt;
  const auto tf = conditioner(from), tt = conditioner(to);
  if (!tf || !tt) return std::nullopt;
  Eigen::MatrixXd a(2 * from.size(), 9);
  for (size_t i = 0; i < from.size(); ++i) {
    const Point p = map(*tf, from[i]), q = map(*tt, to[i]);
    a.row(2 * i) << 0, 0, 0, -p.x(), -p.y(), -1, q.y() * p.x(), q.y() * p.y(), q.y();
    a.row(2 * i + 1) << p.x(), p.y(), 1, 0, 0, 0, -q.x() * p.x(), -q.x() * p.y(), -q.x();
  }
  const Eigen::JacobiSVD<Eigen::MatrixXd> svd(a, Eigen::ComputeFullV);
  // Eight independent directions are needed: a second null direction means the points do not fix the answer.
  if (!(svd.singularValues()(7) > 1e-9 * svd.singularValues()(0))) return std::nullopt;
  const Eigen::VectorXd v = svd.matrixV().col(8);
  Matrix3 h;
  h << v(0), v(1), v(2), v(3), v(4), v(5), v(6), v(7), v(8);
  h = tt->inverse() * h * *tf;
  if (!h.allFinite() || !(std::abs(h.determinant()) > 0)) return std::nullopt;
  return normalised(h);
}

std::optional<Matrix3> homography(const Quad& from, const Quad& to) {
  if (has_collinear_triple(from) || has_collinear_triple(to)) return std::nullopt;
  const auto tf = conditioner(from), tt = conditioner(to);
  if (!tf || !tt) return std::nullopt;
  const Matrix3 h = tt->inverse() * basis_of(to, *tt) * basis_of(from, *tf).inverse() * *tf;
  if (!h.allFinite() || !(std::abs(h.determinant()) > 0)) return std::nullopt;
  return normalised(h);
}

Matrix3 to_pixel_centres(const Matrix3& h) { return translation(-0.5, -0.5) * h * translation(0.5, 0.5); }
Matrix3 from_pixel_centres(const Matrix3& h) { return translation(0.5, 0.5) * h * translation(-0.5, -0.5); }

std::optional<Rect> mapped_bounds(const Matrix3& h, const Rect& r) {
  if (r.empty()) return Rect{};
  const double xs[] = {double(r.x0), double(r.x1)}, ys[] = {double(r.y0), double(r.y1)};
  double lo_x = std::numeric_limits<double>::infinity(), lo_y = lo_x, hi_x = -lo_x, hi_y = -lo_x;
  int signs = 0;
  for (double x : xs)
    for (double y : ys) {
      const double w = h(2, 0) * x + h(2, 1) * y + h(2, 2);
      signs |= w > 0 ? 1 : w < 0 ? 2 : 3;
      const Point q = map(h, {x, y});
      lo_x = std::min(lo_x, q.x()), hi_x = std::max(hi_x, q.x());
      lo_y = std::min(lo_y, q.y()), hi_y = std::max(hi_y, q.y());
    }
  if (signs == 3) return std::nullopt;
  const double limit = 1e9;
  if (!(lo_x > -limit && lo_y > -limit && hi_x < limit && hi_y < limit)) return std::nullopt;
  return Rect{int(std::floor(lo_x)), int(std::floor(lo_y)), int(std::ceil(hi_x)), int(std::ceil(hi_y))};
}

double signed_area(std::span<const Point> polygon) {
  double twice = 0;
  for (size_t i = 0; i < polygon.size(); ++i) {
    const Point &a = polygon[i], &b = polygon[(i + 1) % polygon.size()];
    twice += a.x() * b.y() - b.x() * a.y();
  }
  return twice / 2;
}

}  // namespace pw
