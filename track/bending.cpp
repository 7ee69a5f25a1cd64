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

// The displacement of a tile as a whole, its light eliminated: information^-1 pull.
struct Tile {
  Eigen::Matrix<double, 2, kTerms> j;
  Eigen::Matrix2d information;
  Point pull;
  double count;
};

}  // namespace

Bending bending(std::span<const TileSums> sums, std::span<const Rect> tiles, const Light& light,
                const LightSpread& spread, const Point& centre, double radius) {
  const auto precision = [](double deviation) { return 1 / (deviation * deviation); };
  const double g = precision(spread.gain), o = precision(spread.offset), s = precision(spread.slope);
  const LightVector prior = (LightVector() << g, o, g, o, g, o, s, s).finished();
  // A shift of the whole tile is these two of the motion's numbers (track/normal.h).
  constexpr int kShift[] = {2, 5};
  std::vector<Tile> all;
  double explained_by_all = 0;
  for (size_t i = 0; i < sums.size(); ++i) {
    const TileSums& t = sums[i];
    if (!(t.count > 0)) continue;
    const Eigen::Matrix<double, 2, kLight> jn = t.jn(kShift, Eigen::all);
    Eigen::Matrix<double, kLight, kLight> nn = t.nn;
    nn.diagonal() += prior;
    const Eigen::Matrix<double, kLight, 2> away = nn.ldlt().solve(jn.transpose());
    const LightVector own = light.tile.empty() ? LightVector(LightVector::Zero()) : light.tile[i];
    Tile tile{by_terms(Point(tiles[i].x0 + tiles[i].x1, tiles[i].y0 + tiles[i].y1) / 2, centre, radius),
              t.jj(kShift, kShift) - jn * away, away.transpose() * (t.nr - prior.cwiseProduct(own)) - t.jr(kShift),
              t.count};
    const double determinant = tile.information.determinant();
    if (!(determinant > 1e-6 * tile.information.trace() * tile.information.trace())) continue;
    explained_by_all += tile.pull.dot(tile.information.inverse() * tile.pull);
    all.push_back(tile);
  }
  if (all.size() < kFewestTiles) return {};
  Square a = Square::Identity() * precision(kWay);
  Terms b = Terms::Zero();
  for (const Tile& t : all) {
    a += t.j.transpose() * t.information * t.j;
    b += t.j.transpose() * t.pull;
  }
  const Terms bent = a.ldlt().solve(b);
  Terms flat = Terms::Zero();
  flat.head<kMotion>() = a.topLeftCorner<kMotion, kMotion>().ldlt().solve(b.head<kMotion>());
  double squares = 0, count = 0;
  for (const Tile& t : all) squares += t.count * (t.j * (bent - flat)).squaredNorm(), count += t.count;
  const double left = explained_by_all - bent.dot(b), more = (bent - flat).dot(b);
  const double freedom = 2 * double(all.size()) - kTerms;
  Bending out{std::sqrt(squares / count), 0};
  out.certainty = more / (kTerms - kMotion) / std::max(1e-12 * explained_by_all, left / freedom);
  return std::isfinite(out.px) && std::isfinite(out.certainty) ? out : Bending{};
}

}  // namespace pw
