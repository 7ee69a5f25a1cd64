// Colour told by one set of primaries, in that of another: scene-linear, both with a white of D65.
#pragma once
#include <cstddef>

#include "base/transform.h"

namespace pw {

// Chromaticities (CIE 1931 x, y) of red, green, blue and white.
struct Primaries {
  Point red, green, blue, white;
};
extern const Primaries kRec709;   // ITU-R BT.709-6, item 1.3.
extern const Primaries kRec2020;  // ITU-R BT.2020-2, table 3.

// CIE XYZ of colour by `p`; Y of its white is 1. By the tristimulus values of the primaries, each as bright as lets all
// of them together be white (SMPTE RP 177-1993).
Matrix3 xyz_from_rgb(const Primaries& p);

// What makes colour by `to` of colour by `from`, of the same white.
Matrix3 to_from_primaries(const Primaries& to, const Primaries& from);

// Pixels of 3 or 4 channels, in place; the fourth stays. What only BT.2020 can show gets components below 0 or above
// those of white, so that nothing is lost; it is not drawn in to what BT.709 can show.
void rec709_from_rec2020(float* pixels, size_t count, int channels);

}  // namespace pw
