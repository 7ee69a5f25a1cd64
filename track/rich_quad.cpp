#include "track/rich_quad.h"

#include <algorithm>

namespace pw {
namespace {

using Corner = Eigen::Vector2i;  // Of squares.
using Corners = std::array<Corner, 4>;

int cross(const Corner& a, const Corner& b) { return a.x() * b.y() - a.y() * b.x(); }

// Strictly, and clockwise with y down.
bool convex(const Corners& c) {
  for (size_t i = 0; i < 4; ++i)
    if (cross(c[(i + 1) % 4] - c[i], c[(i + 2) % 4] - c[(i + 1) % 4]) <= 0) return false;
  return true;
}

double worth_of(const WorthGrid& grid, const Corners& c) {
  Corner lo = c[0], hi = c[0];
  for (const Corner& q : c) lo = lo.cwiseMin(q), hi = hi.cwiseMax(q);
  double sum = 0;
  for (int row = lo.y(); row < hi.y(); ++row)
    for (int column = lo.x(); column < hi.x(); ++column) {
      bool inside = true;  // Of the square's centre, in halves.
      for (size_t i = 0; i < 4 && inside; ++i)
        inside = cross(c[(i + 1) % 4] - c[i], Corner(2 * column + 1, 2 * row + 1) - 2 * c[i]) > 0;
      if (inside) sum += grid.worth[size_t(row) * grid.columns + column];
    }
  return sum;
}

std::optional<Corners> best_upright(const WorthGrid& grid) {
  double best = 0;
  std::optional<Corners> found;
  std::vector<double> column(grid.columns);
  for (int y0 = 0; y0 < grid.rows; ++y0) {
    std::fill(column.begin(), column.end(), 0.0);
    for (int y1 = y0 + 1; y1 <= grid.rows; ++y1) {
      double run = 0;
      for (int x = 0, x0 = 0; x < grid.columns; ++x) {
        column[x] += grid.worth[size_t(y1 - 1) * grid.columns + x];
        if (run <= 0) run = 0, x0 = x;
        run += column[x];
        if (run > best) best = run, found = {{{x0, y0}, {x + 1, y0}, {x + 1, y1}, {x0, y1}}};
      }
    }
  }
  return found;
}

}  // namespace

std::optional<Quad> rich_quad(const WorthGrid& grid) {
  auto found = best_upright(grid);
  if (!found) return std::nullopt;
  double worth = worth_of(grid, *found);
  for (int step = std::max(1, std::max(grid.columns, grid.rows) / 16); step > 0;) {
    Corners best = *found;
    double most = worth;
    for (size_t i = 0; i < 4; ++i)
      for (int dy : {-step, 0, step})
        for (int dx : {-step, 0, step}) {
          Corners c = *found;
          c[i] += Corner(dx, dy);
          if (c[i].x() < 0 || c[i].y() < 0 || c[i].x() > grid.columns || c[i].y() > grid.rows || !convex(c)) continue;
          if (const double w = worth_of(grid, c); w > most) most = w, best = c;
        }
    if (most > worth)
      found = best, worth = most;
    else
      step /= 2;
  }
  Quad quad;
  for (size_t i = 0; i < 4; ++i) quad[i] = grid.side * (*found)[i].cast<double>();
  return quad;
}

}  // namespace pw
