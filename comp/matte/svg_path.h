// SVG path data: SVG 1.1, chapter 8, all commands.
#pragma once
#include <string>
#include <string_view>

#include "base/contour.h"
#include "base/problem.h"

namespace pw {

// What a drawing may hold: knots in all, and how far out, pixels.
inline constexpr size_t kMostKnots = 100'000;
inline constexpr double kFarthest = 1e6;

struct PathText {
  std::vector<Contour> contours;  // Of one path; open ones are closed by a straight side, as filling does.
  std::string fault;              // Empty: all was understood. Else what is wrong, and at which character.
  bool too_many = false;          // There were more than `most_knots` knots.
};
// Reading ends at the first fault.
PathText parse_path(std::string_view data, size_t most_knots);

// Path data in plate pixels as a shape of one path, even-odd.
Result<Shape> read_path(std::string_view data);

// First and last knot in the same place (a thousandth of a pixel) become one; contours left with fewer than two knots
// go.
void weld(std::vector<Contour>& contours);

// Path data that reads back as the same contours, to a millionth of a pixel and better.
std::string to_path(std::span<const Contour> contours);

}  // namespace pw
