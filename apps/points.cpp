#include "apps/points.h"

#include <cmath>
#include <cstdio>
#include <sstream>

namespace pw {

std::optional<std::vector<Point>> points_in(const std::string& text) {
  std::vector<Point> points;
  std::istringstream in(text);
  for (std::string pair; in >> pair;) {
    double x = 0, y = 0;
    int used = 0;
    if (std::sscanf(pair.c_str(), "%lf,%lf%n", &x, &y, &used) != 2 || used != int(pair.size())) return std::nullopt;
    if (!(std::abs(x) < 1e6 && std::abs(y) < 1e6)) return std::nullopt;
    points.emplace_back(x, y);
  }
  return points;
}

}  // namespace pw
