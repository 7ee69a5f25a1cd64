#include "comp/graph/shot_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <sstream>
#undef TOML_HEADER_ONLY
#define TOML_HEADER_ONLY 1  // The packaged library is built with exceptions; a bad shot file is no exception here.
#undef TOML_SHARED_LIB
#define TOML_EXCEPTIONS 0
#define TOML_ENABLE_FORMATTERS 0
#include <toml++/toml.h>

#include "comp/graph/toml_hazard.h"

namespace pw {
namespace {

Position position(const toml::source_region& s) {
  return {static_cast<int>(s.begin.line), static_cast<int>(s.begin.column)};
}

RawTable table(const toml::table& t, Problems& problems, const std::string& file);

Raw value(const toml::node& n, Problems& problems, const std::string& file) {
  Raw raw{false, position(n.source())};
  if (const auto* b = n.as_boolean())
    raw.value = b->get();
  else if (const auto* i = n.as_integer())
    raw.value = i->get();
  else if (const auto* d = n.as_floating_point())
    raw.value = d->get();
  else if (const auto* s = n.as_string())
    raw.value = s->get();
  else if (const auto* a = n.as_array()) {
    RawList list;
    for (const toml::node& item : *a) list.push_back(value(item, problems, file));
    raw.value = std::move(list);
  } else if (const auto* t = n.as_table())
    raw.value = table(*t, problems, file);
  else
    problems.push_back({.what = "dates and times have no place in a shot file",
                        .remedy = "put the text in quotes",
                        .file = file,
                        .line = raw.at.line,
                        .column = raw.at.column});
  return raw;
}

RawTable table(const toml::table& t, Problems& problems, const std::string& file) {
  RawTable entries;
  for (const auto& [key, node] : t)
    entries.push_back({std::string(key.str()), position(key.source()), value(node, problems, file)});
  std::stable_sort(entries.begin(), entries.end(), [](const RawEntry& a, const RawEntry& b) {
    return std::pair(a.at.line, a.at.column) < std::pair(b.at.line, b.at.column);
  });
  return entries;
}

std::string first_line(std::string_view s) { return std::string(s.substr(0, s.find('\n'))); }

}  // namespace

Result<ShotText> parse_shot(std::string_view text, const std::string& file) {
  if (auto h = toml_hazard(text))
    return fail(Problem{.what = std::move(h->what),
                        .remedy = std::move(h->remedy),
                        .file = file,
                        .line = h->line,
                        .column = h->column});
  const toml::parse_result parsed = toml::parse(text, std::string_view(file));
  if (!parsed) {
    const toml::parse_error& e = parsed.error();
    const Position at = position(e.source());
    return fail(Problem{.what = fmt::format("this is not TOML: {}", first_line(e.description())),
                        .remedy = "see https://toml.io for how values are written",
                        .file = file,
                        .line = at.line,
                        .column = at.column});
  }
  Problems problems;
  ShotText shot{file, table(parsed.table(), problems, file)};
  if (!problems.empty()) return fail(std::move(problems));
  return shot;
}

Result<ShotText> read_shot(const std::string& file) {
  std::error_code error;
  if (std::filesystem::is_directory(file, error))
    return fail(Problem{.what = "this is a folder", .remedy = "name the shot file in it", .file = file});
  std::ifstream in(file, std::ios::binary);
  if (!in)
    return fail(Problem{.what = "there is no such shot file", .remedy = "check the name and the folder", .file = file});
  const auto size = std::filesystem::file_size(file, error);
  if (error || size > (16u << 20))
    return fail(Problem{
        .what = "this file is too large for a shot file", .remedy = "a shot file has at most 16 MB", .file = file});
  std::ostringstream text;
  text << in.rdbuf();
  return parse_shot(text.str(), file);
}

Result<ShotText> with_setting(ShotText text, std::string_view setting) {
  const std::string shown = fmt::format("--set {}", setting);
  const size_t equals = setting.find('='), dot = setting.find('.');
  if (equals == std::string_view::npos || dot == std::string_view::npos || dot > equals || dot == 0 ||
      dot + 1 == equals)
    return fail(Problem{.what = "this is no setting",
                        .remedy = "write --set NODE.PARAMETER=VALUE, as in --set clean.filter=cubic",
                        .file = shown});
  const std::string node(setting.substr(0, dot)), key(setting.substr(dot + 1, equals - dot - 1));
  const std::string given(setting.substr(equals + 1));
  auto parsed = parse_shot("v = " + given, shown);
  if (!parsed || parsed->entries.size() != 1) {
    std::string word = given;
    if (parsed || word.find('\n') != std::string::npos)
      return fail(Problem{.what = "this setting has more than one line",
                          .remedy = "give --set once for each parameter",
                          .file = fmt::format("--set {}.{}", node, key)});
    if (word.find_first_of("\"'[]{}") != std::string::npos) return fail(parsed.error());
    parsed = parse_shot("v = '" + word + "'", shown);
    if (!parsed) return fail(parsed.error());
  }
  const bool there =
      std::any_of(text.entries.begin(), text.entries.end(), [&](const RawEntry& e) { return e.key == node; });
  if (node == "shot" && !there) text.entries.push_back({node, {}, {RawTable{}, {}}});
  for (RawEntry& entry : text.entries)
    if (entry.key == node)
      if (auto* table = std::get_if<RawTable>(&entry.value.value)) {
        Raw raw = std::move(parsed->entries[0].value);
        const auto found = std::find_if(table->begin(), table->end(), [&](const RawEntry& e) { return e.key == key; });
        if (found != table->end()) {
          raw.at = {};  // It stands nowhere in the file.
          found->value = std::move(raw);
        } else {
          raw.at = {};
          table->push_back({key, {}, std::move(raw)});
        }
        return text;
      }
  return fail(Problem{.what = fmt::format("the shot has no node \"{}\"", node),
                      .remedy = "name a node of the shot file",
                      .file = shown});
}

}  // namespace pw
