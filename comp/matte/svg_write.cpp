#include "comp/matte/svg_write.h"

#include <fmt/format.h>

#include <map>

#include "base/markup.h"
#include "comp/matte/svg_path.h"

namespace pw {
namespace {

// Shows on light and on dark pictures, and does not hide what lies under it.
constexpr std::string_view kStyle = R"(style="fill:#19b3c9;fill-opacity:0.2;stroke:#19b3c9;stroke-width:1")";

std::string outline(const std::string& name, const Shape& shape, int frame) {
  // One element for each path of the shape, in the order in which they come.
  std::vector<std::vector<Contour>> paths;
  std::map<int, size_t> index;
  for (const Contour& c : shape.contours) {
    const auto [it, is_new] = index.try_emplace(c.path, paths.size());
    if (is_new) paths.emplace_back();
    paths[it->second].push_back(c);
  }
  std::string text = fmt::format("    <g id=\"{0}-{1}\"><title>{0}</title>\n", escaped(name), frame);
  for (const auto& p : paths)
    text += fmt::format("      <path {} fill-rule=\"{}\" d=\"{}\"/>\n", kStyle,
                        p[0].rule == FillRule::even_odd ? "evenodd" : "nonzero", to_path(p));
  return text + "    </g>\n";
}

std::string region(const std::string& name, const std::vector<Point>& corners, int frame) {
  std::string points;
  for (const Point& p : corners) points += fmt::format("{}{:.7f},{:.7f}", points.empty() ? "" : " ", p.x(), p.y());
  return fmt::format("    <polygon id=\"{0}-{1}\" {2} points=\"{3}\"><title>{0}</title></polygon>\n", escaped(name),
                     frame, kStyle, points);
}

}  // namespace

std::string outline_sheet(const OutlineSheet& s) {
  std::string text = fmt::format(
      "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
      "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" version=\"1.1\"\n"
      "     width=\"{0}\" height=\"{1}\" viewBox=\"0 0 {0} {1}\">\n"
      "  <g id=\"picture\">\n"
      "    <image x=\"0\" y=\"0\" width=\"{0}\" height=\"{1}\" preserveAspectRatio=\"none\"\n"
      "           xlink:href=\"data:image/png;base64,{2}\"/>\n"
      "  </g>\n"
      "  <g id=\"frame-{3}\">\n",
      s.width, s.height, base64(s.png), s.frame);
  for (const auto& [name, shape] : s.outlines) text += outline(name, shape, s.frame);
  for (const auto& [name, corners] : s.regions) text += region(name, corners, s.frame);
  return text + "  </g>\n</svg>\n";
}

}  // namespace pw
