#include "comp/matte/svg_element.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "comp/matte/svg_path.h"
#include "comp/matte/svg_place.h"
#include "comp/matte/svg_scan.h"

namespace pw {
namespace {

constexpr std::string_view kGroups[] = {"svg", "g", "a", "switch"};
constexpr std::string_view kShapes[] = {"path", "rect", "circle", "ellipse", "polygon", "polyline"};

std::string_view stripped(std::string_view s) {
  constexpr std::string_view kSpace = " \t\n\r\f";
  const size_t first = s.find_first_not_of(kSpace);
  return first == s.npos ? std::string_view() : s.substr(first, s.find_last_not_of(kSpace) - first + 1);
}

// Reads attributes that are lengths; the first that cannot be read is the fault.
class Lengths {
 public:
  Lengths(pugi::xml_node n, SvgElement& e) : n_(n), e_(e) {}
  double get(const char* name, double otherwise = 0) {
    const std::string_view text = n_.attribute(name).value();
    if (text.empty() || text == "auto") return otherwise;
    const auto v = parse_length(text);
    if (!v && e_.fault.empty()) {
      e_.fault = fmt::format("{}=\"{}\" of <{}> is not a length this reads", name, shortened(text), n_.name());
      e_.remedy = "give it in px, in, cm, mm, pt or pc";
    }
    return v.value_or(otherwise);
  }

 private:
  pugi::xml_node n_;
  SvgElement& e_;
};

// SVG 1.1, 9.2: one radius given stands for both; at most half a side; and this path.
void rect(Lengths lengths, SvgElement& e) {
  const double x = lengths.get("x"), y = lengths.get("y"), w = lengths.get("width"), h = lengths.get("height");
  double rx = lengths.get("rx", -1), ry = lengths.get("ry", -1);
  if (rx < 0) rx = ry;
  if (ry < 0) ry = rx;
  rx = std::min(std::max(rx, 0.0), w / 2);
  ry = std::min(std::max(ry, 0.0), h / 2);
  if (!(w > 0) || !(h > 0)) return;
  const Point corners[4] = {{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}};
  if (rx == 0 || ry == 0) {
    e.contours.push_back(polygon(corners));
    return;
  }
  const std::string arc = fmt::format("a {} {} 0 0 1", rx, ry);
  e.contours =
      parse_path(
          fmt::format("M {0} {1} h {2} {4} {5} {6} v {3} {4} -{5} {6} h -{2} {4} -{5} -{6} v -{3} {4} {5} -{6} z",
                      x + rx, y, w - 2 * rx, h - 2 * ry, arc, rx, ry),
          100)
          .contours;
}

void points(std::string_view text, std::string_view kind, size_t most_knots, SvgElement& e) {
  std::vector<Point> corners;
  SvgScan scan(text);
  for (scan.skip_space(); !scan.done(); scan.skip_separator()) {
    const auto x = scan.take_number();
    scan.skip_separator();
    const auto y = scan.take_number();
    if (!x || !y) {
      e.fault = fmt::format("points of <{}> cannot be read at character {}", kind, scan.position() + 1);
      e.remedy = "give pairs of numbers";
      return;
    }
    corners.emplace_back(*x, *y);
    if ((e.too_many = corners.size() > most_knots)) return;
  }
  if (corners.size() > 1) e.contours.push_back(polygon(corners));
}

}  // namespace

std::string_view svg_name(pugi::xml_node n) {
  std::string_view name = n.name();
  if (name.starts_with("svg:")) name.remove_prefix(4);
  return name.find(':') == name.npos ? name : std::string_view();
}

bool svg_is_group(std::string_view name) { return std::ranges::find(kGroups, name) != std::end(kGroups); }
bool svg_is_shape(std::string_view name) { return std::ranges::find(kShapes, name) != std::end(kShapes); }

std::vector<std::string> svg_names(pugi::xml_node n) {
  std::vector<std::string> names;
  const auto add = [&](std::string_view s) {
    s = stripped(s);
    if (!s.empty() && std::ranges::find(names, s) == names.end()) names.emplace_back(s);
  };
  add(n.attribute("id").value());
  add(n.attribute("aria-label").value());
  for (pugi::xml_node child : n.children())
    if (svg_name(child) == "title") add(child.text().get());
  return names;
}

std::string_view svg_property(pugi::xml_node n, std::string_view name) {
  std::string_view style = n.attribute("style").value();
  while (!style.empty()) {
    const std::string_view one = style.substr(0, style.find(';'));
    style.remove_prefix(std::min(style.size(), one.size() + 1));
    const size_t colon = one.find(':');
    if (colon != one.npos && stripped(one.substr(0, colon)) == name) return stripped(one.substr(colon + 1));
  }
  return stripped(n.attribute(std::string(name).c_str()).value());
}

SvgElement svg_outline(pugi::xml_node n, size_t most_knots) {
  SvgElement e;
  Lengths lengths(n, e);
  const std::string_view kind = svg_name(n);
  if (kind == "path") {
    PathText path = parse_path(n.attribute("d").value(), most_knots);
    e.contours = std::move(path.contours);
    e.too_many = path.too_many;
    if (!path.fault.empty()) {
      e.fault = "path data: " + path.fault;
      e.remedy = "draw the path again, or save it with another editor";
    }
  } else if (kind == "rect") {
    rect(lengths, e);
  } else if (kind == "circle" || kind == "ellipse") {
    const double rx = lengths.get(kind == "circle" ? "r" : "rx"), ry = kind == "circle" ? rx : lengths.get("ry");
    const Point centre(lengths.get("cx"), lengths.get("cy"));
    if (rx > 0 && ry > 0) e.contours.push_back(ellipse(centre, rx, ry));
  } else {
    points(n.attribute("points").value(), kind, most_knots, e);
  }
  return e;
}

std::string shortened(std::string_view text) {
  std::string s;
  for (char c : text.substr(0, 40)) s += static_cast<unsigned char>(c) < ' ' || c == 127 ? '?' : c;
  if (text.size() > 40) {
    while (!s.empty() && (s.back() & 0xC0) == 0x80) s.pop_back();  // Whole UTF-8 characters.
    if (!s.empty() && (s.back() & 0x80)) s.pop_back();
    s += "...";
  }
  return s;
}

}  // namespace pw
