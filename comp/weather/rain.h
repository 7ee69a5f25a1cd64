// Rain as a camera sees it in one exposure.
#pragma once
#include <array>

#include "base/picture.h"
#include "base/surroundings.h"
#include "comp/weather/rainfall.h"

namespace pw {

struct RainLook {
  double focus_m = 20;                   // What the lens is focused on.
  double aperture_mm = 8;                // The diameter of its opening; 0: all is sharp.
  std::array<double, 3> light{1, 1, 1};  // The drops' light against the light around them, per channel.
  bool keep_level = false;               // Takes off again what the rain adds on average.
};

// One drop's streak: the path of a disc of the drop's size while the shutter is open, spread by the lens (a Gaussian of
// 0.5 px, and the circle of confusion), as the share of the exposure in which a pixel shows it.
struct Streak {
  double x, y;            // Its middle, pixels.
  double long_x, long_y;  // From its beginning to its end, pixels.
  double width_px;        // The drop's own.
  double deviation_px;    // Of the Gaussian across it.
  double share() const;   // The sum over all pixels.
};
Streak streak_of(const Drop& d, const Rainfall& r, const RainLook& look);

// The share of an exposure for which a pixel shows drops from `near_m` to `far_m` away, on average over all rain: the
// sum over depth of the cross-sections in a cubic metre, those left out that are too faint to be drawn.
double mean_cover(const Rainfall& r, const RainLook& look, double rain_mm_h, double near_m, double far_m);

// The light against the light around with which the drops add, on average, `share` of that light; 0 where there are no
// drops.
std::array<double, 3> light_that_adds(const std::array<double, 3>& share, const Rainfall& r, const RainLook& look,
                                      double rain_mm_h);

// Laid over `to` (4 channels, premultiplied), in light `light`, as far as it lies in it.
void lay_streak(const Streak& s, const float light[3], Canvas& to);

// Rain over `rect`: 4 channels, premultiplied, alpha the share of the exposure a pixel shows drops. A drop sends on
// light from a wide angle, so that it is as bright as its surroundings and hardly depends on what is right behind it
// (K. Garg, S. K. Nayar, "Vision and Rain", Int. J. Computer Vision 75(1), 3-27, 2007); it passes on 94 % of it (the
// figure is from memory of that paper), and drops differ by 15 % either way. With keep_level the average of light and
// cover is taken off, both then being negative between the streaks: laid over what holds its own rain's average
// already, streaks stand out and the level stays. `hidden`: a matte of what stands before the drops from `hidden_m` on;
// null: nothing.
Picture rain(const Rainfall& r, const RainLook& look, const Surroundings& around, double rain_mm_h, double time_s,
             const Picture* hidden, double hidden_m, const Rect& rect);

}  // namespace pw
