#include "comp/graph/shot_table.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <optional>

#include "comp/graph/read_value.h"
#include "comp/spec/declare.h"
#include "comp/spec/nearest.h"

namespace pw {
namespace {

struct ShotTable {
  std::string like;
  std::vector<int64_t> size, frames;
  std::string rate;
  double shutter_deg = 180;
  std::string ocio, ocio_linear;
};

// The table is read as a node is, from the same kind of declaration.
const Kind& declaration() {
  static const Kind kind =
      Declare<ShotTable>("shot", Family::source, 1, "What every node of the shot shares.")
          .param("like", &ShotTable::like,
                 {.doc = "The footage whose size and frames the shot takes.", .example = "\"plate\""})
          .param("size", &ShotTable::size,
                 {.doc = "Width and height of the plate.",
                  .unit = Unit::px,
                  .min = 1,
                  .max = 65536,
                  .example = "[960, 540]"})
          .param("frames", &ShotTable::frames,
                 {.doc = "First and last frame.",
                  .unit = Unit::frames,
                  .min = -9999999,
                  .max = 9999999,
                  .example = "[1, 48]"})
          .param("rate", &ShotTable::rate,
                 {.doc = "Frames a second, as a whole number or a ratio in quotes.", .example = "\"24000/1001\""})
          .param(
              "shutter_deg", &ShotTable::shutter_deg,
              {.doc = "How long the shutter is open; 360 is the whole frame.", .unit = Unit::deg, .min = 0, .max = 360})
          .param("ocio", &ShotTable::ocio,
                 {.doc = "A configuration of OpenColorIO, whose colour spaces encodings may name.",
                  .role = Role::file_in,
                  .example = "\"config.ocio\""})
          .param("ocio_linear", &ShotTable::ocio_linear,
                 {.doc = "The configuration's space of linear light of Rec.709's primaries.",
                  .example = "\"Linear Rec.709\""});
  return kind;
}

// "24", "23.976", "24000/1001"; 0: not a rate.
double rate_of(const std::string& s) {
  char* end = nullptr;
  const double a = std::strtod(s.c_str(), &end);
  double r = a;
  if (*end == '/') {
    const char* rest = end + 1;
    const double b = std::strtod(rest, &end);
    r = b > 0 && end != rest ? a / b : 0;
  }
  return *end == 0 && r >= 0.1 && r <= 1000 ? r : 0;
}

// What the environment says; empty: nothing.
std::string environment_colours() {
  const char* file = std::getenv("OCIO");
  return file ? file : "";
}

}  // namespace

bool names_colours(const ShotText& text) {
  for (const RawEntry& top : text.entries)
    if (const auto* table = std::get_if<RawTable>(&top.value.value); table && top.key == "shot")
      for (const RawEntry& e : *table)
        if (e.key == "ocio") return true;
  return !environment_colours().empty();
}

void read_shot_table(const ShotText& text, Graph& graph, Problems& problems) {
  graph.given = Shot{};
  graph.given.folder = std::filesystem::path(text.file).parent_path().string();
  auto say = [&](Position at, std::string what, std::string remedy) {
    problems.push_back({.what = std::move(what),
                        .remedy = std::move(remedy),
                        .file = text.file,
                        .line = at.line,
                        .column = at.column,
                        .node = "shot"});
  };
  ShotTable t;
  // Where given; on the command line that is nowhere.
  std::optional<Position> size_at, frames_at, rate_at, like_at, linear_at;
  bool sound = true;
  for (const RawEntry& top : text.entries) {
    if (top.key != "shot") continue;
    graph.shot_at = top.at;
    const auto* table = std::get_if<RawTable>(&top.value.value);
    if (!table) return say(top.at, "shot is not a table", "write [shot] on a line of its own");
    for (const RawEntry& e : *table) {
      const Param* p = declaration().param(e.key);
      if (!p) {
        std::vector<std::string> names;
        for (const Param& q : declaration().params) names.emplace_back(q.name);
        const std::string meant = nearest(e.key, names);
        say(e.at, fmt::format("shot has no \"{}\"", e.key),
            meant.empty() ? fmt::format("it has {}", fmt::join(names, ", ")) : fmt::format("did you mean {}?", meant));
        continue;
      }
      Raw raw = e.value;
      if (p->name == "rate") {  // A bare number is as good as a text.
        if (const auto* i = std::get_if<int64_t>(&raw.value)) raw.value = std::to_string(*i);
        if (const auto* d = std::get_if<double>(&raw.value)) raw.value = fmt::format("{}", *d);
      }
      if (auto v = read_value(raw, *p, "shot", text.file))
        p->set(&t, *v);
      else {
        problems.insert(problems.end(), v.error().begin(), v.error().end());
        sound = false;
        continue;
      }
      if (e.key == "size") size_at = e.value.at;
      if (e.key == "frames") frames_at = e.value.at;
      if (e.key == "rate") rate_at = e.value.at;
      if (e.key == "like") like_at = e.value.at;
      if (e.key == "ocio") graph.ocio_at = e.value.at;
      if (e.key == "ocio_linear") linear_at = e.value.at;
    }
  }
  if (!sound) return;
  graph.given.shutter_deg = t.shutter_deg;
  graph.given.ocio = graph.ocio_at ? graph.given.path(t.ocio) : environment_colours();
  graph.given.ocio_linear = t.ocio_linear;
  if (graph.ocio_at && t.ocio.empty()) return say(*graph.ocio_at, "shot.ocio is empty", "name a file, or take it out");
  if (linear_at && graph.given.ocio.empty())
    return say(*linear_at, "shot.ocio_linear names a space, but there is no configuration it could be of",
               "add ocio = \"config.ocio\"");
  if (size_at) {
    if (t.size.size() != 2) return say(*size_at, "shot.size is not two numbers", "write size = [width, height]");
    graph.given.width = static_cast<int>(t.size[0]), graph.given.height = static_cast<int>(t.size[1]);
  }
  if (frames_at) {
    if (t.frames.size() != 2 || t.frames[0] > t.frames[1])
      return say(*frames_at, "shot.frames is not a first and a last frame", "write frames = [first, last]");
    graph.given.first = static_cast<int>(t.frames[0]), graph.given.last = static_cast<int>(t.frames[1]);
    graph.frames_given = true;
  }
  graph.given.rate = 0;
  if (rate_at) {
    graph.given.rate = rate_of(t.rate);
    if (graph.given.rate == 0)
      return say(*rate_at, fmt::format("shot.rate is \"{}\"", t.rate),
                 "write 24, \"25\" or \"24000/1001\"; it may be 0.1 to 1000");
  }
  std::vector<std::string> footage;
  for (const Node& n : graph.nodes)
    if (n.kind->family == Family::source && n.kind->hooks.survey) footage.push_back(n.name);
  if (like_at) {
    if (std::find(footage.begin(), footage.end(), t.like) == footage.end()) {
      const std::string meant = nearest(t.like, footage);
      return say(*like_at, fmt::format("shot.like is \"{}\", which is no footage of this file", t.like),
                 meant.empty() ? "name a footage node" : fmt::format("did you mean {}?", meant));
    }
    graph.like = t.like;
  } else if (footage.size() == 1) {
    graph.like = footage[0];
  } else if (!footage.empty() && (graph.given.width == 0 || !graph.frames_given)) {
    say(graph.shot_at.line ? graph.shot_at : Position{1, 1},
        "the shot does not say which footage gives its size and frames",
        fmt::format("add shot = {{ like = \"{}\" }}", footage[0]));
  } else if (footage.empty() && (graph.given.width == 0 || !graph.frames_given)) {
    say(graph.shot_at.line ? graph.shot_at : Position{1, 1},
        "the shot has no footage, so its size and frames are not known",
        "add shot = { size = [960, 540], frames = [1, 48] }");
  }
}

}  // namespace pw
