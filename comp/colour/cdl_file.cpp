#include "comp/colour/cdl_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <pugixml.hpp>
#include <sstream>
#include <vector>

namespace pw {
namespace {

constexpr size_t kMostBytes = 1 << 20;
constexpr double kFarthest = 1e6;

std::string_view local_name(pugi::xml_node n) {
  const std::string_view name = n.name();
  const size_t colon = name.find(':');
  return colon == name.npos ? name : name.substr(colon + 1);
}

class Reader {
 public:
  Reader(std::string_view text, const std::string& file) : text_(text), file_(file) {}

  Result<Cdl> read() {
    pugi::xml_document document;
    const auto parsed = document.load_buffer(text_.data(), text_.size(), pugi::parse_default, pugi::encoding_utf8);
    if (!parsed)
      return refuse(static_cast<size_t>(std::max<ptrdiff_t>(parsed.offset, 0)),
                    fmt::format("is not well-formed XML ({})", parsed.description()), "export the correction again");
    const pugi::xml_node root = document.document_element();
    if (const auto name = local_name(root); name == "ColorCorrectionCollection" || name == "ColorDecisionList")
      return refuse(offset(root), fmt::format("holds a <{}>", name),
                    "save the one <ColorCorrection> that is meant as a .cc file");
    else if (name != "ColorCorrection")
      return refuse(offset(root), fmt::format("holds <{:.40}>, no <ColorCorrection>", root.name()),
                    "name a .cc file of the ASC CDL");
    Cdl cdl;
    for (const pugi::xml_node part : root.children()) {
      const auto name = local_name(part);
      if (name != "SOPNode" && name != "SatNode" && name != "SATNode") continue;
      if (seen(part, name == "SOPNode" ? "SOPNode" : "SatNode")) return failed();
      const bool read = name == "SOPNode" ? numbers(part, "Slope", cdl.slope, 0, true) &&
                                                numbers(part, "Offset", cdl.offset, -kFarthest, true) &&
                                                numbers(part, "Power", cdl.power, 0, false)
                                          : saturation(part, cdl.saturation);
      if (!read) return failed();
    }
    if (seen_.empty())
      return refuse(offset(root), "holds neither an <SOPNode> nor a <SatNode>", "export the correction again");
    return cdl;
  }

 private:
  static size_t offset(pugi::xml_node n) { return static_cast<size_t>(std::max<ptrdiff_t>(n.offset_debug(), 0)); }

  Problem placed(size_t at, std::string what, std::string remedy) const {
    const std::string_view before = text_.substr(0, std::min(at, text_.size()));
    const size_t newline = before.rfind('\n');
    return {.what = std::move(what),
            .remedy = std::move(remedy),
            .file = file_,
            .line = 1 + static_cast<int>(std::count(before.begin(), before.end(), '\n')),
            .column = 1 + static_cast<int>(before.size() - (newline == before.npos ? 0 : newline + 1))};
  }
  tl::unexpected<Problems> refuse(size_t at, std::string what, std::string remedy) const {
    return fail(placed(at, std::move(what), std::move(remedy)));
  }
  tl::unexpected<Problems> failed() const { return fail(problem_); }
  bool wrong(pugi::xml_node n, std::string what, std::string remedy) {
    problem_ = placed(offset(n), std::move(what), std::move(remedy));
    return false;
  }
  bool seen(pugi::xml_node n, std::string_view name) {
    if (std::find(seen_.begin(), seen_.end(), name) == seen_.end()) return seen_.emplace_back(name), false;
    return !wrong(n, fmt::format("<{}> stands twice", name), "keep the one that is meant");
  }

  // The numbers of one element, as many as `to` has room for; as they were when it is not there.
  template <size_t N>
  bool numbers(pugi::xml_node parent, std::string_view name, std::array<double, N>& to, double least, bool least_too) {
    for (const pugi::xml_node n : parent.children()) {
      if (local_name(n) != name) continue;
      if (seen(n, name)) return false;
      const std::string_view text = n.text().get();
      const char* at = text.data();
      const char* const end = at + text.size();
      const auto skip = [&] {
        while (at < end && (*at == ' ' || *at == '\t' || *at == '\n' || *at == '\r')) ++at;
      };
      for (size_t i = 0; i < N; ++i) {
        skip();
        if (at < end && *at == '+') ++at;
        const auto [after, error] = std::from_chars(at, end, to[i]);
        if (error != std::errc() || (after < end && !std::strchr(" \t\r\n", *after)))
          return wrong(n, fmt::format("<{}> is not {}", name, N == 3 ? "three numbers" : "a number"),
                       N == 3 ? "write red, green, blue with spaces between" : "write it as 0.9");
        at = after;
        if (!std::isfinite(to[i]) || to[i] < least || (to[i] == least && !least_too) || to[i] > kFarthest)
          return wrong(n, fmt::format("<{}> holds {}", name, to[i]),
                       least < 0   ? fmt::format("it may be {} to {}", -kFarthest, kFarthest)
                       : least_too ? fmt::format("it may be 0 to {}", kFarthest)
                                   : fmt::format("it must be above 0 and at most {}", kFarthest));
      }
      skip();
      if (at != end)
        return wrong(n, fmt::format("<{}> holds more than {}", name, N == 3 ? "three numbers" : "one number"),
                     "take the rest out");
    }
    return true;
  }
  bool saturation(pugi::xml_node parent, double& to) {
    std::array<double, 1> one{to};
    if (!numbers(parent, "Saturation", one, 0, true)) return false;
    to = one[0];
    return true;
  }

  const std::string_view text_;
  const std::string& file_;
  std::vector<std::string> seen_;
  Problem problem_;
};

}  // namespace

Result<Cdl> parse_cdl(std::string_view text, const std::string& file) {
  if (text.size() > kMostBytes)
    return fail({.what = "is larger than a correction ever is (1 MB)", .remedy = "name a .cc file", .file = file});
  return Reader(text, file).read();
}

Result<Cdl> load_cdl(const std::string& file) {
  std::error_code error;
  const auto size = std::filesystem::file_size(file, error);
  if (error)
    return fail({.what = fmt::format("the correction cannot be read: {}", error.message()),
                 .remedy = "check the name",
                 .file = file});
  std::string text(std::min<uintmax_t>(size, kMostBytes + 1), '\0');
  std::ifstream in(file, std::ios::binary);
  if (!in.read(text.data(), static_cast<std::streamsize>(text.size())))
    return fail({.what = "the correction cannot be read", .remedy = "check its permissions", .file = file});
  return parse_cdl(text, file);
}

std::string cdl_text(const Cdl& cdl, const std::string& id, const std::string& about) {
  pugi::xml_document document;
  auto declaration = document.append_child(pugi::node_declaration);
  declaration.append_attribute("version") = "1.0";
  declaration.append_attribute("encoding") = "UTF-8";
  auto root = document.append_child("ColorCorrection");
  root.append_attribute("id") = id.c_str();
  root.append_attribute("xmlns") = "urn:ASC:CDL:v1.2";
  if (!about.empty()) root.append_child("Description").text().set(about.c_str());
  const auto three = [](const std::array<double, 3>& v) { return fmt::format("{} {} {}", v[0], v[1], v[2]); };
  auto sop = root.append_child("SOPNode");
  sop.append_child("Slope").text().set(three(cdl.slope).c_str());
  sop.append_child("Offset").text().set(three(cdl.offset).c_str());
  sop.append_child("Power").text().set(three(cdl.power).c_str());
  root.append_child("SatNode").append_child("Saturation").text().set(fmt::format("{}", cdl.saturation).c_str());
  std::ostringstream text;
  document.save(text, "  ", pugi::format_default, pugi::encoding_utf8);
  return text.str();
}

}  // namespace pw
