// Picks shapes out of a drawing by name and frame.
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <set>

#include "comp/matte/svg_read.h"

namespace pw {
namespace {

// One shape in the making. An element that is meant in two ways, such as by its id and by its title, counts once.
struct Collected {
  Shape shape;
  std::set<size_t> items;
};

// Adds items [first, last) that are not hidden below `depth`.
void collect(const SvgDrawing& d, size_t first, size_t last, int depth, Collected& to, Problems& problems) {
  for (size_t i = first; i < last; ++i) {
    const SvgItem& item = d.items[i];
    if (item.hidden_depth > depth || !to.items.insert(i).second) continue;
    if (item.problem) problems.push_back(*item.problem);
    for (Contour c : item.contours) {
      c.path = static_cast<int>(i);  // Each element is a path of its own.
      to.shape.contours.push_back(std::move(c));
    }
  }
}

std::string known_names(const SvgDrawing& d) {
  std::set<std::string> names;
  for (const SvgName& n : d.names)
    if (n.last > n.first) names.insert(n.name);
  if (names.empty()) return "nothing in it has a name";
  std::string list;
  int count = 0;
  for (const std::string& n : names) {
    if (++count > 8) return fmt::format("it has {} and {} more", list, names.size() - 8);
    list += (list.empty() ? "" : ", ") + n;
  }
  return "it has " + list;
}

// The frame a name draws `wanted` on; whether it does at all.
struct Meant {
  bool is = false;
  std::optional<int> frame;
};
Meant meant(const SvgName& n, std::string_view wanted) {
  const auto [stem, frame] = split_frame(n.name);
  if (wanted.empty()) return {stem == "frame" && frame, frame};
  if (n.name == wanted) return {true, n.frame};
  return {stem == wanted && frame && wanted != "frame", frame};
}

}  // namespace

std::pair<std::string_view, std::optional<int>> split_frame(std::string_view name) {
  const size_t dash = name.rfind('-');
  if (dash == name.npos || dash == 0 || name.size() - dash > 9) return {name, std::nullopt};
  int frame = 0;
  const auto [end, error] = std::from_chars(name.data() + dash + 1, name.data() + name.size(), frame);
  if (error != std::errc() || end != name.data() + name.size() || frame < 0) return {name, std::nullopt};
  return {name.substr(0, dash), frame};
}

Result<SvgPick> pick(const SvgDrawing& d, std::string_view name) {
  std::map<std::optional<int>, Collected> found;  // By frame; none: drawn on no frame in particular.
  Problems problems;
  for (const SvgName& n : d.names)
    if (const Meant m = meant(n, name); m.is) collect(d, n.first, n.last, n.depth, found[m.frame], problems);
  if (found.empty()) {
    if (!name.empty())
      return fail({.what = fmt::format("no shape is named {}; {}", name, known_names(d)),
                   .remedy = "name the path or its group, as id or title",
                   .file = d.file});
    collect(d, 0, d.items.size(), -1, found[std::nullopt], problems);
  }
  if (any_error(problems)) return fail(std::move(problems));
  SvgPick result;
  for (auto& [frame, collected] : found) {
    if (frame)
      result.keys[*frame] = std::move(collected.shape);
    else if (found.size() == 1)
      result.still = std::move(collected.shape);
  }
  result.warnings = std::move(problems);
  return result;
}

Result<std::vector<Point>> pick_region(const SvgDrawing& d, std::string_view name) {
  auto p = pick(d, name);
  if (!p) return fail(std::move(p.error()));
  const Shape& s = p->still ? *p->still : p->keys.begin()->second;
  if (s.empty())
    return fail({.what = name.empty() ? std::string("nothing is drawn in it")
                                      : fmt::format("nothing is drawn under the name {}", name),
                 .remedy = "draw the region's outline",
                 .file = d.file});
  std::vector<Point> corners;
  for (const Knot& k : s.contours[0].knots) corners.push_back(k.at);
  return corners;
}

Result<Matrix3> plate_from_drawing(const SvgDrawing& d, int plate_width, int plate_height) {
  const double w = plate_width, h = plate_height;
  if (d.width == 0 || d.height == 0 || (std::abs(d.width - w) < 0.5 && std::abs(d.height - h) < 0.5))
    return Matrix3(Matrix3::Identity());
  const double sx = w / d.width, sy = h / d.height;
  if (std::abs(sx / sy - 1) > 0.005)
    return fail({.what = fmt::format("the drawing is {:.6g} x {:.6g} pixels, the plate {} x {}", d.width, d.height,
                                     plate_width, plate_height),
                 .remedy = "draw over a frame of this plate (platewright probe --svg writes one)",
                 .file = d.file});
  return scaling(sx, sy);
}

}  // namespace pw
