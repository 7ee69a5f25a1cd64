#include "base/noise.h"

#include <algorithm>
#include <cmath>

namespace pw {

Noise Noise::white(std::vector<Level> levels) {
  Noise n;
  n.levels.fill(levels);
  n.spatial.fill({1.0});
  return n;
}

double Noise::sigma(int channel, double brightness) const {
  const std::vector<Level>& l = levels[channel];
  const auto above = std::upper_bound(l.begin(), l.end(), brightness,
                                      [](double b, const Level& level) { return b < level.brightness; });
  if (above == l.begin()) return l.front().sigma;
  if (above == l.end()) return l.back().sigma;
  const Level &a = above[-1], &b = *above;
  const double t = (brightness - a.brightness) / (b.brightness - a.brightness);
  return std::sqrt((1 - t) * a.sigma * a.sigma + t * b.sigma * b.sigma);
}

}  // namespace pw
