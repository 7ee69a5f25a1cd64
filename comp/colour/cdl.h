// The colour correction of the American Society of Cinematographers' Color Decision List, version 1.2 (J. Pines, D.
// Reisner, "ASC Color Decision List (ASC CDL) Transfer Functions and Interchange Syntax", 2009): ten numbers.
#pragma once
#include <array>
#include <span>
#include <vector>

#include "base/picture.h"
#include "comp/colour/encoding.h"
#include "comp/colour/space_transform.h"

namespace pw {

// out = (in * slope + offset) ^ power for each of red, green and blue, then saturation about the luma of the result
// with the weights of Rec. 709 (0.2126, 0.7152, 0.0722).
struct Cdl {
  std::array<double, 3> slope{1, 1, 1};   // 0 or more.
  std::array<double, 3> offset{0, 0, 0};  // Any.
  std::array<double, 3> power{1, 1, 1};   // Above 0.
  double saturation = 1;                  // 0 or more.
  bool operator==(const Cdl&) const = default;
};

// Slope, offset, power, each red, green, blue; then saturation: 10 numbers.
std::vector<double> ten_numbers(const Cdl& cdl);
Cdl from_ten_numbers(std::span<const double> numbers);
// Each list holds red, green, blue, or one number for all three.
Cdl from_lists(std::span<const double> slope, std::span<const double> offset, std::span<const double> power,
               double saturation);

struct CdlOptions {
  Encoding space = Encoding::linear;  // The values it acts on; the result comes back to scene-linear light.
  // As the standard has it: held to 0 ... 1 before power and at the end. Without it nothing is held, and a value below
  // 0 passes the power as it is.
  bool clamp = false;
  // In the place of `space`, when given: to the values of a colour space, and back.
  const SpaceTransform *to_space = nullptr, *from_space = nullptr;
};

// `image` corrected, over `rect`. Acts on colour without its alpha; where alpha is 0 colour stays as it is, and where
// the picture has no pixels there are none. The correction that changes nothing, not clamped, returns the bits.
// Relative error below 1e-5 for values of 1e-4 to 60, power up to 4. A picture of one channel is taken as grey.
Picture corrected(const Picture& image, const Cdl& cdl, const CdlOptions& options, const Rect& rect);

}  // namespace pw
