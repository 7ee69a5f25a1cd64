// What a lens does to straight lines: radial distortion about the picture's middle. An ideal point p (of a camera
// without it) is seen at s = c + (p - c) (1 + k1 r^2 + k2 r^4), c the picture's centre, r = |p - c| divided by half the
// picture's diagonal (D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering 37(8), 1971; his
// radial terms alone, his lengths in other units). k1 below 0: barrel; above: pincushion. Lengths are those of the
// picture that `width` and `height` describe, in pixels.
#pragma once
#include <optional>

#include "base/transform.h"

namespace pw {

struct Lens {
  double k1 = 0, k2 = 0;        // -1 to 1.
  double k1_sd = 0, k2_sd = 0;  // Standard deviations where they were estimated; 0: given.
  bool none() const { return k1 == 0 && k2 == 0; }
};

// Nothing beyond the radius where the curve turns back (r = 1.49 for k1 = -0.15, which is seen at 0.994: the formula
// says nothing about a real lens there), or not finite.
std::optional<Point> seen_from_ideal(const Lens& lens, const Point& ideal, double width, double height);

// Nothing where no ideal point is seen there. By Newton's method, kept between bounds; right to 1e-12 of the half
// diagonal.
std::optional<Point> ideal_from_seen(const Lens& lens, const Point& seen, double width, double height);

// d seen / d ideal.
Eigen::Matrix2d jacobian(const Lens& lens, const Point& ideal, double width, double height);

// True when every point of the picture is seen from just one ideal point, but for corners further out than 0.75 of the
// half diagonal.
bool covers_picture(const Lens& lens);

}  // namespace pw
