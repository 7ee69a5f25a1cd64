#include "comp/matte/cell_line.h"

#include <algorithm>
#include <cmath>

namespace pw {

double covered(const CellLine& line) {
  const double p = std::abs(line.nx), q = std::abs(line.ny), a = std::max(p, q), b = std::min(p, q);
  const double t = line.d + (a + b) / 2;  // From the corner that is covered first.
  if (t <= 0) return 0;
  if (t >= a + b) return 1;
  if (t < b) return t * t / (2 * a * b);
  if (t <= a) return (t - b / 2) / a;
  return 1 - (a + b - t) * (a + b - t) / (2 * a * b);
}

double offset_for(double nx, double ny, double share) {
  const double p = std::abs(nx), q = std::abs(ny), a = std::max(p, q), b = std::min(p, q), corner = b / (2 * a);
  const double half = (a + b) / 2;
  if (share <= 0) return -half;
  if (share >= 1) return half;
  if (share < corner) return std::sqrt(2 * a * b * share) - half;
  if (share <= 1 - corner) return share * a + b / 2 - half;
  return half - std::sqrt(2 * a * b * (1 - share));
}

CellLine edge_through(const float share[3][3]) {
  double row[3], column[3];
  for (int i = 0; i < 3; ++i) {
    row[i] = double(share[i][0]) + share[i][1] + share[i][2];
    column[i] = double(share[0][i]) + share[1][i] + share[2][i];
  }
  const double up = row[0] >= row[2] ? 1 : -1, left = column[0] >= column[2] ? 1 : -1;
  CellLine best;
  double least = 1e300;
  const auto consider = [&](double nx, double ny) {
    const double length = std::hypot(nx, ny);
    CellLine line{nx / length, ny / length, 0};
    line.d = offset_for(line.nx, line.ny, share[1][1]);
    double error = 0;
    for (int j = 0; j < 3; ++j)
      for (int i = 0; i < 3; ++i) {
        const double e = covered({line.nx, line.ny, line.d - line.nx * (i - 1) - line.ny * (j - 1)}) - share[j][i];
        error += e * e;
      }
    if (error < least) least = error, best = line;
  };
  for (const double slope : {(column[2] - column[0]) / 2, column[1] - column[0], column[2] - column[1]})
    consider(-slope, up);
  for (const double slope : {(row[2] - row[0]) / 2, row[1] - row[0], row[2] - row[1]}) consider(left, -slope);
  return best;
}

}  // namespace pw
