// The grain of a plate: how strong it is at each brightness, and how neighbouring pixels and channels hang together;
// and how much its rain lightens it.
#pragma once
#include <array>
#include <vector>

namespace pw {

struct Noise {
  struct Level {
    double brightness;  // Scene-linear.
    double sigma;       // Standard deviation in scene-linear light.
  };
  // Per channel (red, green, blue), brightness ascending; one or more.
  std::array<std::vector<Level>, 3> levels;
  // Correlation of a pixel with those up to `reach` pixels away, per channel: (2 reach + 1)^2 numbers row by row, 1 in
  // the middle. 0 <= reach <= kLongestReach.
  int reach = 0;
  std::array<std::vector<double>, 3> spatial;
  // Correlation of the channels at one pixel.
  std::array<std::array<double, 3>, 3> between{{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}};
  static constexpr int kLongestReach = 6;
  // Light that rain adds on average, per channel, as a share of the light around (see base/surroundings.h); 0
  // where no rain was seen.
  std::array<double, 3> rain{};

  // White, independent grain of the given levels, the same for each channel.
  static Noise white(std::vector<Level> levels);
  // Standard deviation at a brightness. Between levels the variance is linear in brightness, which is exact for photon
  // and read noise (A. Foi et al., "Practical Poissonian-Gaussian noise modeling and fitting for single-image
  // raw-data", IEEE TIP 17(10), 2008); held beyond the ends.
  double sigma(int channel, double brightness) const;
};

}  // namespace pw
