#include "track/bending.h"

#include <Eigen/Dense>
#include <cmath>

namespace pw {
namespace {

constexpr int kTerms = kMotion + 4;
constexpr size_t kFewestTiles = 10;
constexpr double kWay = 3;  // Displacements that no tile fixes are held to 0 with this deviation, pixels.

using Terms = Eigen::Matrix<double, kTerms, 1>;
using Square = Eigen::Matrix<double, kTerms, kTerms>;

// d (shift of point x) / d (motion, and four quadratics that are no homography).
Eigen::Matrix<double, 2, kTerms> by_terms(const Point& x, const Point& centre, double radius) {
  const Point d = (x - centre) / radius;
  Eigen::Matrix<double, 2, kTerms> j;
  j.leftCols<kMotion>() = motion_jacobian(x, centre, radius);
  j.rightCols<4>() << d.x() * d.x(), d.x() * d.y(), d.y() * d.y(), 0,  //
      -d.x() * d.y(), -d.y() * d.y(), 0, d.x() * d.x();
  return j;
}

struct Tile {
  Eigen::Matrix<double, 2, kTerms> j;
  TileShift shift;
};

}  // namespace

Bending bending(std::span<const TileShift> shifts, std::span<const Rect> tiles, const Point& centre, double radius) {
  std::vector<Tile> all;
  double explained_by_all = 0;
  for (size_t i = 0; i < shifts.size(); ++i) {
    const TileShift& t = shifts[i];
    if (!(t.count > 0)) continue;
    const double determinant = t.information.determinant();
    if (!(determinant > 1e-6 * t.information.trace() * t.information.trace())) continue;
    explained_by_all += t.pull.dot(t.information.inverse() * t.pull);
    all.push_back({by_terms(Point(tiles[i].x0 + tiles[i].x1, tiles[i].y0 + tiles[i].y1) / 2, centre, radius), t});
  }
  if (all.size() < kFewestTiles) return {};
  Square a = Square::Identity() / (kWay * kWay);
  Terms b = Terms::Zero();
  for (const Tile& t : all) {
    a += t.j.transpose() * t.shift.information * t.j;
    b += t.j.transpose() * t.shift.pull;
  }
  const Terms bent = a.ldlt().solve(b);
  Terms flat = Terms::Zero();
  flat.head<kMotion>() = a.topLeftCorner<kMotion, kMotion>().ldlt().solve(b.head<kMotion>());
  double squares = 0, count = 0;
  for (const Tile& t : all) squares += t.shift.count * (t.j * (bent - flat)).squaredNorm(), count += t.shift.count;
  const double left = explained_by_all - bent.dot(b), more = (bent - flat).dot(b);
  const double freedom = 2 * double(all.size()) - kTerms;
  Bending out{std::sqrt(squares / count), 0};
  out.certainty = more / (kTerms - kMotion) / std::max(1e-12 * explained_by_all, left / freedom);
  return std::isfinite(out.px) && std::isfinite(out.certainty) ? out : Bending{};
}

}  // namespace pw
