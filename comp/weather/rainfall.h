// Which drops are in the air before a camera at a time. Every drop is a function of the seed and its number, falls at
// its own speed and is blown by the wind, so that any frame can be asked for alone and streaks go on from frame to
// frame.
#pragma once
#include <cstdint>
#include <vector>

#include "base/rect.h"

namespace pw {

// Share of the exposure below which a streak is left out, where it is thickest: a thirteenth of an 8-bit code at white.
inline constexpr double kFaintestShare = 3e-4;
// A lens spreads a point to a Gaussian of this deviation.
inline constexpr double kLensSpreadPx = 0.5;

struct Rainfall {
  int width = 0, height = 0;  // Of the picture, pixels.
  double focal_px = 0;        // Distance of the picture's plane from the lens, in pixels.
  double near_m = 1, far_m = 10;
  double wind_m_s = 0;    // Across the picture, to the right.
  double exposure_s = 0;  // Centred on the time asked for.
  uint64_t seed = 0;
};

struct Drop {
  uint64_t number;  // The same drop has the same number as long as it falls.
  float mm, speed;  // Diameter; m/s, down.
  float sideways;   // m/s, to the right.
  double x, y, z;   // m from the lens: right, down, away.
  float chance;     // 0 to 1, its own.
};

// The drops whose streak, `margin_px` wide on every side, can touch `rect` at `time_s` in rain of `rain_mm_h` (0 to
// kHeaviestRain), and some more; the farthest layer first. Which of them are there and in what order does not depend on
// `rect`. More rain adds drops and takes none away.
//
// Space is cut into layers of depth, and each into cells across the picture that drift with the wind. A cell holds a
// Poisson number of drops of the heaviest rain that are large enough to be seen at the layer's distance, of which those
// are there that Marshall and Palmer's distribution leaves at the rain asked for. Each falls through a height that is
// more than what is seen, and then again at another place. Sideways a drop strays by up to 5 % of its speed (common
// practice, no source).
std::vector<Drop> drops_before(const Rainfall& r, double rain_mm_h, double time_s, const Rect& rect, double margin_px);

}  // namespace pw
