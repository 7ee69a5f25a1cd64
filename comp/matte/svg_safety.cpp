#include "comp/matte/svg_safety.h"

#include <fmt/format.h>

#include <algorithm>
#include <pugixml.hpp>
#include <string>

#include "comp/matte/svg_element.h"

namespace pw {
namespace {

constexpr int kMostMarks = 2'000'000;

std::string lower(std::string_view s) {
  std::string l(s);
  for (char& c : l) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c | 32) : c;
  return l;
}

std::string_view trimmed(std::string_view s) {
  const size_t first = s.find_first_not_of(" \t\n\r\"'");
  return first == s.npos ? std::string_view() : s.substr(first);
}

bool within_file(std::string_view reference) {
  reference = trimmed(reference);
  return reference.empty() || reference[0] == '#' || lower(reference.substr(0, 5)) == "data:";
}

// Another scheme than file:, or a server.
bool on_network(std::string_view reference) {
  reference = trimmed(reference);
  if (reference.starts_with("//")) return true;
  const size_t colon = reference.find_first_of(":/?#");
  if (colon == reference.npos || reference[colon] != ':' || colon < 2) return false;  // One letter is a drive.
  const std::string scheme = lower(reference.substr(0, colon));
  return scheme != "file" && scheme != "data";
}

bool style_leaves_file(std::string_view style) {
  const std::string css = lower(style);
  if (css.find("@import") != css.npos) return true;
  for (size_t at = css.find("url("); at != css.npos; at = css.find("url(", at + 4))
    if (!within_file(std::string_view(css).substr(at + 4))) return true;
  return false;
}

constexpr const char* kNoScripts = "remove it; save the drawing as plain SVG";
constexpr const char* kNoLinks = "remove the link, or put what it refers to into the drawing itself";

std::optional<Problem> unsafe_element(pugi::xml_node n) {
  const std::string name = lower(n.name());
  if (name == "script" || name.ends_with(":script"))
    return Problem{.what = "the drawing holds a script", .remedy = kNoScripts};
  const std::string_view svg = svg_name(n);
  if (svg == "style" && style_leaves_file(n.text().get()))
    return Problem{.what = "the drawing's style refers to something outside the file", .remedy = kNoLinks};
  for (pugi::xml_attribute a : n.attributes()) {
    const std::string key = lower(a.name());
    if (key.size() > 2 && key.starts_with("on") && key.find(':') == key.npos)
      return Problem{.what = fmt::format("<{}> holds a script ({})", shortened(n.name()), shortened(a.name())),
                     .remedy = kNoScripts};
    if (svg.empty()) continue;
    const bool href = key == "href" || key.ends_with(":href");
    if (href && (svg == "image" ? on_network(a.value()) : !within_file(a.value())))
      return Problem{.what = fmt::format("<{}> links to {}, outside the file", svg, shortened(a.value())),
                     .remedy = kNoLinks};
    if (!href && style_leaves_file(a.value()))
      return Problem{.what = fmt::format("{} of <{}> refers to something outside the file", shortened(a.name()), svg),
                     .remedy = kNoLinks};
  }
  return std::nullopt;
}

std::optional<Problem> unsafe_node(pugi::xml_node n) {
  switch (n.type()) {
    case pugi::node_doctype:
      if (std::string_view(n.value()).find('[') != std::string_view::npos)
        return Problem{.what = "the drawing defines entities of its own",
                       .remedy = "save it as plain SVG, without a DOCTYPE"};
      return std::nullopt;
    case pugi::node_pi:
      if (std::string_view(n.name()) == "xml-stylesheet")
        return Problem{.what = "the drawing takes its style from another file", .remedy = kNoLinks};
      return std::nullopt;
    case pugi::node_element:
      return unsafe_element(n);
    default:
      return std::nullopt;
  }
}

}  // namespace

std::optional<Problem> svg_unsafe_text(std::string_view text) {
  if (text.starts_with("\x1f\x8b")) return Problem{.what = "is a compressed drawing", .remedy = "save it as plain SVG"};
  if (text.starts_with("\xff\xfe") || text.starts_with("\xfe\xff"))
    return Problem{.what = "is not in UTF-8", .remedy = "save it in UTF-8"};
  const auto marks = std::count_if(text.begin(), text.end(), [](char c) { return c == '<' || c == '='; });
  if (marks > kMostMarks)
    return Problem{.what = fmt::format("holds more than {} elements and attributes", kMostMarks),
                   .remedy = "simplify it; an outline needs a few dozen knots"};
  return std::nullopt;
}

std::optional<SvgUnsafe> svg_unsafe(const pugi::xml_document& document) {
  // Without recursion: how deep a hostile file is nested is not ours to choose.
  for (pugi::xml_node n = document.first_child(); n;) {
    if (auto p = unsafe_node(n))
      return SvgUnsafe{static_cast<size_t>(std::max<ptrdiff_t>(n.offset_debug(), 0)), std::move(*p)};
    if (n.first_child()) {
      n = n.first_child();
      continue;
    }
    while (n && !n.next_sibling()) n = n.parent();
    n = n.next_sibling();
  }
  return std::nullopt;
}

}  // namespace pw
