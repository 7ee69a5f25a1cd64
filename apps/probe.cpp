#include "comp/media/probe.h"

#include <fmt/format.h>

#include <filesystem>
#include <nlohmann/json.hpp>

#include "apps/lineup.h"
#include "apps/open.h"
#include "apps/planes.h"
#include "apps/say.h"
#include "apps/stills.h"
#include "comp/graph/render.h"
#include "comp/matte/svg_write.h"
#include "comp/media/whole_file.h"

namespace pw {
namespace {

bool is_shot(const std::string& file) { return file.ends_with(".toml"); }

int write_sheet(const ProbeCommand& c, OutlineSheet sheet, const Picture& picture) {
  const auto png =
      still_bytes(c.svg + ".png", picture,
                  {.encoding = Encoding::srgb, .depth = Depth::bits8, .width = sheet.width, .height = sheet.height});
  if (!png) return say(png.error()), kMistake;
  sheet.png = {reinterpret_cast<const char*>(png->bytes.data()), png->bytes.size()};
  sheet.frame = c.frame;
  const std::string svg = outline_sheet(sheet);
  auto written = write_whole_file(c.svg, {reinterpret_cast<const unsigned char*>(svg.data()), svg.size()});
  if (!written) return say(written.error()), kMistake;
  fmt::print("{}: frame {} of {}; draw over it and give each shape an id\n", c.svg, c.frame, c.file);
  return kDone;
}

int sheet_of_footage(const ProbeCommand& c) {
  Result<Picture> picture = fail(Problem{});
  int width = 0, height = 0;
  if (is_movie(c.file)) {
    const auto movie = Movie::open(c.file);
    if (!movie) return say(movie.error()), kMistake;
    width = (*movie)->info().width, height = (*movie)->info().height;
    if (const int frames = (*movie)->info().frames; c.frame < 1 || c.frame > frames) {
      say({{.what = fmt::format("the movie has no frame {}", c.frame),
            .remedy = fmt::format("it has 1 to {}", frames),
            .file = c.file}});
      return kMistake;
    }
    picture = (*movie)->read(c.frame - 1);
  } else {
    auto file = looks_like_pattern(c.file)
                    ? open_sequence(c.file).and_then([&](const Sequence& s) { return read_frame(s, c.frame); })
                    : read_still(c.file);
    if (!file) return say(file.error()), kMistake;
    width = file->info.width, height = file->info.height;
    picture = std::move(file->picture);
  }
  if (!picture) return say(picture.error()), kMistake;
  return write_sheet(c, {.width = width, .height = height}, *picture);
}

// The picture of a node with the shot's outlines and regions as they are on that frame.
int sheet_of_shot(const ProbeCommand& c) {
  const auto scene = open_shot(c, 1);
  if (!scene) return kMistake;
  const auto image = node_looked_at(*scene, c.image);
  if (!image) return kMistake;
  const Shot& shot = scene->shot;
  if (c.frame < shot.first || c.frame > shot.last) {
    say({{.what = fmt::format("frame {} is outside the shot", c.frame),
          .remedy = fmt::format("it has frames {} to {}", shot.first, shot.last),
          .file = c.file}});
    return kMistake;
  }
  std::vector<int> wanted = *image;
  for (size_t n = 0; n < scene->graph.nodes.size(); ++n)
    if (const Kind* k = scene->graph.nodes[n].kind; !k->outputs.empty() && k->outputs[0].flow == Flow::outline)
      wanted.push_back(static_cast<int>(n));
  const auto memory = memory_limit(c.memory);
  if (!memory) return kMistake;
  const auto runner = arena(c.threads);
  const auto results = measure(*scene, wanted, {*runner, *memory});
  if (!results) return say(results.error()), kMistake;
  OutlineSheet sheet{.width = shot.width, .height = shot.height};
  for (size_t n = 0; n < scene->graph.nodes.size(); ++n) {
    const std::string& name = scene->graph.nodes[n].name;
    if (const auto* o = std::get_if<Outline>(&results->measured[n])) sheet.outlines.emplace_back(name, o->at(c.frame));
    if (const auto* m = std::get_if<Motion>(&results->measured[n]); m && m->find(c.frame)) {
      std::vector<Point> corners;
      for (const Point& p : m->region) corners.push_back(map(m->find(c.frame)->frame_from_ref, p));
      sheet.regions.emplace_back(name, corners);
    }
  }
  auto picture =
      render_node(*scene, *results, image->front(), 0, c.frame, {.runner = *runner, .memory_limit = *memory});
  if (!picture) return say(picture.error()), kMistake;
  return write_sheet(c, std::move(sheet), *picture);
}

int describe(const ProbeCommand& c) {
  auto p = probe(c.file);
  if (!p) return say(p.error()), kMistake;
  if (!c.json) {
    for (const std::string& line : lines(*p)) fmt::print("{}\n", line);
    return kDone;
  }
  constexpr const char* kinds[] = {"still", "sequence", "movie"};
  nlohmann::ordered_json j = {{"file", c.file}, {"kind", kinds[static_cast<int>(p->kind)]}};
  if (const MovieInfo& m = p->movie; p->kind == Probe::Kind::movie)
    j.update({{"size", {m.width, m.height}},
              {"frames", m.frames},
              {"bits_per_pixel", m.bits_per_pixel},
              {"rate", to_string(m.timing.rate)},
              {"constant_rate", m.timing.constant},
              {"container", m.container},
              {"coder", m.codec},
              {"samples", m.sampling},
              {"bits", m.bits},
              {"matrix", name(m.matrix.value)},
              {"matrix_from", m.matrix.from},
              {"range", name(m.range.value)},
              {"siting", name(m.siting.value)},
              {"encoding", name(m.encoding.value)},
              {"encoding_from", m.encoding.from},
              {"primaries", m.primaries},
              {"timecode", m.timecode},
              {"sound", m.sound}});
  else
    j.update({{"size", {p->still.width, p->still.height}},
              {"channels", p->still.channels},
              {"bits", p->still.bits},
              {"encoding", name(p->still.encoding)},
              {"encoding_from", p->still.encoding_from},
              {"compression", p->still.compression}});
  if (p->active) j["active"] = {p->active->x0, p->active->y0, p->active->x1, p->active->y1};
  if (p->kind == Probe::Kind::sequence) j["frames"] = p->frames;
  fmt::print("{}\n", j.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace));
  return kDone;
}

}  // namespace

int run(const ProbeCommand& given) {
  ProbeCommand c = given;
  c.shot = c.file;
  if (c.stills) return rank_stills(c);
  if (c.planes) return list_planes(c);
  if (!c.lineup.empty()) return line_up(c);
  if (c.svg.empty() && !c.frame_given) return describe(c);
  if (c.svg.empty() || !c.frame_given) {
    say({{.what = "--frame and --svg go together", .remedy = "as in --frame 12 --svg goose.0012.svg"}});
    return kMistake;
  }
  std::error_code error;
  if (!c.svg.ends_with(".svg") || std::filesystem::exists(c.svg, error)) {
    say({{.what = c.svg.ends_with(".svg") ? "this drawing is there already, and what was drawn in it would be lost"
                                          : "a drawing's name ends in .svg",
          .remedy = "name another file, as in goose.0012.svg",
          .file = c.svg}});
    return kMistake;
  }
  return is_shot(c.file) ? sheet_of_shot(c) : sheet_of_footage(c);
}

}  // namespace pw
