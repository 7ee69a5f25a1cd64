// The grain of a plate as text: {"format": "platewright-noise", "version": 1, "levels": {"red": [[brightness, sigma],
// ...], "green": ..., "blue": ...}, "reach": n, "spatial": {"red": [(2n + 1)^2 numbers], ...}, "between": [red-green,
// red-blue, green-blue], "rain": [red, green, blue]}. Scene-linear light. What has no "rain" has none.
#pragma once
#include <string>
#include <string_view>

#include "base/noise.h"
#include "base/problem.h"

namespace pw {

std::string noise_text(const Noise& noise);
// Problems tell line and column of `file`: no JSON, another format, numbers that are missing or out of range.
Result<Noise> parse_noise(std::string_view text, const std::string& file);

}  // namespace pw
