#include "comp/graph/read_value.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <charconv>
#include <optional>

namespace pw {
namespace {

std::string_view raw_name(const Raw& raw) {
  constexpr std::string_view n[] = {"true or false",    "a whole number", "a number",
                                    "a text in quotes", "a list",         "a table"};
  return n[raw.value.index()];
}

std::optional<double> number(const Raw& raw) {
  if (const auto* i = std::get_if<int64_t>(&raw.value)) return static_cast<double>(*i);
  if (const auto* d = std::get_if<double>(&raw.value)) return *d;
  return std::nullopt;
}

std::optional<int> frame_number(const std::string& key) {
  int n = 0;
  const auto [end, error] = std::from_chars(key.data(), key.data() + key.size(), n);
  if (error != std::errc() || end != key.data() + key.size() || n < -9999999 || n > 9999999) return std::nullopt;
  return n;
}

// What is wrong with a key of a table of frames; `1.5 = 0` reads as a table `5 = 0` under the key 1.
Problem bad_frame_key(const RawEntry& e, const std::string& what, const std::string& file) {
  Problem p{.file = file, .line = e.at.line, .column = e.at.column};
  const auto* inner = std::get_if<RawTable>(&e.value.value);
  if (inner && inner->size() == 1 && frame_number(e.key) && frame_number(inner->front().key)) {
    p.what = fmt::format("{} has the key {}.{}, which TOML reads as a table inside a table", what, e.key,
                         inner->front().key);
    p.remedy = "keys are whole frames: use " + e.key + " or " + std::to_string(*frame_number(e.key) + 1);
  } else {
    p.what = fmt::format("{} has the key \"{}\"", what, e.key);
    p.remedy = "keys are whole frames, as in { 1 = 0, 24 = 1 }";
  }
  return p;
}

struct Reader {
  const Raw& raw;
  const Param& param;
  std::string what;
  const std::string& file;

  tl::unexpected<Problems> wrong(std::string_view takes, const Raw& at) const {
    return fail(Problem{.what = fmt::format("{} is {}", what, raw_name(at)),
                        .remedy = fmt::format("it takes {}", takes),
                        .file = file,
                        .line = at.at.line,
                        .column = at.at.column});
  }

  Result<Value> operator()(bool) const {
    if (const auto* b = std::get_if<bool>(&raw.value)) return Value(*b);
    return wrong("true or false", raw);
  }
  Result<Value> operator()(int64_t) const {
    if (const auto* i = std::get_if<int64_t>(&raw.value)) return Value(*i);
    return wrong("a whole number", raw);
  }
  Result<Value> operator()(double) const {
    if (const auto d = number(raw)) return Value(*d);
    return wrong("a number", raw);
  }
  Result<Value> operator()(const std::string&) const {
    if (const auto* s = std::get_if<std::string>(&raw.value)) return Value(*s);
    return wrong(param.say.choices.empty() ? "a text in quotes"
                                           : fmt::format("one of {}, in quotes", fmt::join(param.say.choices, ", ")),
                 raw);
  }
  Result<Value> operator()(const Animated&) const {
    if (const auto d = number(raw)) return Value(Animated(*d));
    const auto* table = std::get_if<RawTable>(&raw.value);
    if (!table) return wrong("a number, or a table of frames as in { 1 = 0, 24 = 1 }", raw);
    Animated a;
    for (const RawEntry& e : *table) {
      if (e.key == "ease") {
        const auto* s = std::get_if<std::string>(&e.value.value);
        if (!s || (*s != "linear" && *s != "smooth"))
          return fail(Problem{.what = what + ".ease is not one of its choices",
                              .remedy = "it may be \"linear\" or \"smooth\"",
                              .file = file,
                              .line = e.value.at.line,
                              .column = e.value.at.column});
        a.ease = *s == "smooth" ? Ease::smooth : Ease::linear;
        continue;
      }
      const auto frame = frame_number(e.key);
      if (!frame || std::holds_alternative<RawTable>(e.value.value)) return fail(bad_frame_key(e, what, file));
      const auto v = number(e.value);
      if (!v) return wrong("numbers at its frames", e.value);
      a.keys[*frame] = *v;
    }
    if (a.keys.empty()) return wrong("at least one frame in its table", raw);
    return Value(a);
  }
  Result<Value> operator()(const std::vector<int64_t>&) const {
    std::vector<int64_t> out;
    if (const auto* one = std::get_if<int64_t>(&raw.value)) return Value(std::vector<int64_t>{*one});
    const auto* list = std::get_if<RawList>(&raw.value);
    if (!list) return wrong("a list of frames, as in [46, 47]", raw);
    for (const Raw& item : *list) {
      const auto* i = std::get_if<int64_t>(&item.value);
      if (!i) return wrong("whole frames in its list", item);
      out.push_back(*i);
    }
    return Value(out);
  }
  Result<Value> operator()(const std::vector<double>&) const {
    std::vector<double> out;
    const auto* list = std::get_if<RawList>(&raw.value);
    if (!list) return wrong("a list of numbers", raw);
    for (const Raw& item : *list) {
      const auto d = number(item);
      if (!d) return wrong("numbers in its list", item);
      out.push_back(*d);
    }
    return Value(out);
  }
  Result<Value> operator()(const Polygon&) const {
    Polygon out;
    const auto* list = std::get_if<RawList>(&raw.value);
    if (!list) return wrong("a list of points, as in [[0, 0], [90, 0], [90, 60], [0, 60]]", raw);
    for (const Raw& item : *list) {
      const auto* pair = std::get_if<RawList>(&item.value);
      if (!pair || pair->size() != 2 || !number((*pair)[0]) || !number((*pair)[1]))
        return fail(Problem{.what = fmt::format("corner {} of {} is not a point", out.size() + 1, what),
                            .remedy = "a point is [x, y] in pixels",
                            .file = file,
                            .line = item.at.line,
                            .column = item.at.column});
      out.emplace_back(*number((*pair)[0]), *number((*pair)[1]));
    }
    return Value(out);
  }
  Result<Value> operator()(const Polygons&) const {
    Polygons out;
    const auto* list = std::get_if<RawList>(&raw.value);
    if (!list) return wrong("a list of outlines, as in [[[0, 0], [90, 0], [90, 60]]]", raw);
    for (const Raw& item : *list) {
      auto outline = Reader{item, param, fmt::format("outline {} of {}", out.size() + 1, what), file}(Polygon{});
      if (!outline) return outline;
      out.push_back(std::get<Polygon>(std::move(*outline)));
    }
    return Value(out);
  }
  Result<Value> operator()(const PathKeys&) const {
    PathKeys out;
    const auto* table = std::get_if<RawTable>(&raw.value);
    if (!table) return wrong("a table of frames and path data, as in { 1 = \"M 10 10 H 60 V 40 Z\" }", raw);
    for (const RawEntry& e : *table) {
      const auto frame = frame_number(e.key);
      if (!frame || std::holds_alternative<RawTable>(e.value.value)) return fail(bad_frame_key(e, what, file));
      const auto* s = std::get_if<std::string>(&e.value.value);
      if (!s) return wrong("path data in quotes at its frames", e.value);
      out[*frame] = *s;
    }
    return Value(out);
  }
  Result<Value> operator()(const FrameOrAuto&) const {
    if (const auto* i = std::get_if<int64_t>(&raw.value)) return Value(FrameOrAuto{*i});
    if (const auto* s = std::get_if<std::string>(&raw.value); s && *s == "auto") return Value(FrameOrAuto{});
    return wrong("a whole number, or \"auto\"", raw);
  }
};

}  // namespace

Result<Value> read_value(const Raw& raw, const Param& param, const std::string& node, const std::string& file,
                         bool beyond) {
  auto v = std::visit(Reader{raw, param, fmt::format("{}.{}", node, param.name), file}, param.fallback);
  if (!v || (beyond && beyond_choices(param, *v))) return v;
  if (const std::string c = complaint(param, *v); !c.empty()) {
    const size_t semicolon = c.find("; ");
    return fail(Problem{.what = fmt::format("{}.{}", node, c.substr(0, semicolon)),
                        .remedy = semicolon == std::string::npos ? "" : c.substr(semicolon + 2),
                        .file = file,
                        .line = raw.at.line,
                        .column = raw.at.column});
  }
  return v;
}

}  // namespace pw
