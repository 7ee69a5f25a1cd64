// What may stand in a shot file as a parameter's value, and what flows along a connection.
#pragma once
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "base/transform.h"

namespace pw {

enum class Unit { none, px, deg, fraction, stops, frames, per_second };
std::string_view name(Unit u);

// What a node's output holds. An outline may stand where a matte is wanted.
enum class Flow { picture, matte, field, motion, outline, light, noise, lens, camera };
std::string_view name(Flow f);
bool fits(Flow offered, Flow wanted);
// False: it is a measured value without pixels.
bool has_pixels(Flow f);
// "a plane", "an outline".
std::string with_article(std::string_view noun);

enum class Ease {
  linear,
  smooth
};  // smooth: a cubic through the keys that never overshoots them (Fritsch and Carlson 1980).

// A number that may change over time: whole frames and the value there; held before the first and after the last.
struct Animated {
  double value = 0;              // Used when there are no keys.
  std::map<int, double> keys{};  // Frame -> value.
  Ease ease = Ease::linear;

  Animated() = default;
  Animated(double v) : value(v) {}  // NOLINT: a plain number is the common case.
  double at(double frame) const;
  bool operator==(const Animated&) const = default;
};

// A frame; or none, written "auto": the program looks for the one that serves best.
struct FrameOrAuto {
  std::optional<int64_t> frame;
  bool operator==(const FrameOrAuto&) const = default;
};

using Polygon = std::vector<Point>;
using Polygons = std::vector<Polygon>;
using PathKeys = std::map<int, std::string>;  // Frame -> SVG path data.

using Value = std::variant<bool, int64_t, double, std::string, Animated, std::vector<int64_t>, std::vector<double>,
                           Polygon, PathKeys, FrameOrAuto, Polygons>;
// In words: "a number", "a list of points" ...
std::string_view value_type_name(const Value& v);

// The value as it is written in a shot file (TOML). Reading it back gives the same value.
std::string to_text(const Value& v);

}  // namespace pw
