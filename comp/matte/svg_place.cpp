#include "comp/matte/svg_place.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "comp/matte/svg_scan.h"

namespace pw {
namespace {

Matrix3 affine(double a, double b, double c, double d, double e, double f) {
  Matrix3 m;
  m << a, c, e, b, d, f, 0, 0, 1;
  return m;
}

std::optional<Matrix3> one_transform(std::string_view name, const double* v, int count) {
  const auto radians = [](double degrees) { return degrees * std::numbers::pi / 180; };
  if (name == "matrix" && count == 6) return affine(v[0], v[1], v[2], v[3], v[4], v[5]);
  if (name == "translate" && (count == 1 || count == 2)) return translation(v[0], count == 2 ? v[1] : 0);
  if (name == "scale" && (count == 1 || count == 2)) return scaling(v[0], count == 2 ? v[1] : v[0]);
  if (name == "skewX" && count == 1) return affine(1, 0, std::tan(radians(v[0])), 1, 0, 0);
  if (name == "skewY" && count == 1) return affine(1, std::tan(radians(v[0])), 0, 1, 0, 0);
  if (name == "rotate" && (count == 1 || count == 3)) {
    const double c = std::cos(radians(v[0])), s = std::sin(radians(v[0]));
    const Matrix3 turn = affine(c, s, -s, c, 0, 0);
    return count == 1 ? turn : Matrix3(translation(v[1], v[2]) * turn * translation(-v[1], -v[2]));
  }
  return std::nullopt;
}

}  // namespace

std::optional<Matrix3> parse_transform(std::string_view text) {
  Matrix3 all = Matrix3::Identity();
  SvgScan scan(text);
  for (scan.skip_space(); !scan.done(); scan.skip_separator()) {
    const std::string_view name = scan.take_word();
    scan.skip_space();
    if (!scan.take('(')) return std::nullopt;
    double v[6];
    int count = 0;
    for (scan.skip_space(); !scan.take(')'); scan.skip_separator()) {
      const auto number = scan.take_number();
      if (!number || count == 6) return std::nullopt;
      v[count++] = *number;
    }
    const auto one = one_transform(name, v, count);
    if (!one) return std::nullopt;
    all = all * *one;
  }
  return all;
}

std::optional<double> parse_length(std::string_view text) {
  SvgScan scan(text);
  scan.skip_space();
  const auto value = scan.take_number();
  if (!value) return std::nullopt;
  std::string unit(scan.take_word());
  for (char& c : unit) c |= 32;
  scan.skip_space();
  if (!scan.done()) return std::nullopt;
  constexpr double kInch = 96;
  if (unit.empty() || unit == "px") return value;
  if (unit == "in") return *value * kInch;
  if (unit == "cm") return *value * kInch / 2.54;
  if (unit == "mm") return *value * kInch / 25.4;
  if (unit == "q") return *value * kInch / 101.6;
  if (unit == "pt") return *value * kInch / 72;
  if (unit == "pc") return *value * kInch / 6;
  return std::nullopt;
}

std::optional<ViewBox> parse_view_box(std::string_view text) {
  SvgScan scan(text);
  double v[4];
  scan.skip_space();
  for (double& x : v) {
    const auto number = scan.take_number();
    if (!number) return std::nullopt;
    x = *number;
    scan.skip_separator();
  }
  if (!scan.done() || !(v[2] > 0) || !(v[3] > 0)) return std::nullopt;
  return ViewBox{v[0], v[1], v[2], v[3]};
}

std::optional<Matrix3> fitted(const ViewBox& box, double width, double height, std::string_view rule) {
  double sx = width / box.width, sy = height / box.height;
  double align_x = 0.5, align_y = 0.5;
  SvgScan scan(rule);
  scan.skip_space();
  std::string_view align = scan.take_word();
  scan.skip_space();
  const std::string_view meet = scan.take_word();
  scan.skip_space();
  if (!scan.done() || !(meet.empty() || meet == "meet" || meet == "slice")) return std::nullopt;
  if (align != "none") {
    if (!align.empty()) {  // xMidYMid and the like.
      const auto place = [](std::string_view s) { return s == "Min" ? 0 : s == "Mid" ? 0.5 : s == "Max" ? 1 : -1; };
      if (align.size() != 8 || align[0] != 'x' || align[4] != 'Y') return std::nullopt;
      align_x = place(align.substr(1, 3));
      align_y = place(align.substr(5, 3));
      if (align_x < 0 || align_y < 0) return std::nullopt;
    }
    sx = sy = meet == "slice" ? std::max(sx, sy) : std::min(sx, sy);
  }
  const double dx = align == "none" ? 0 : (width - box.width * sx) * align_x;
  const double dy = align == "none" ? 0 : (height - box.height * sy) * align_y;
  return Matrix3(translation(dx, dy) * scaling(sx, sy) * translation(-box.x, -box.y));
}

}  // namespace pw
