#include "base/outline.h"

#include <fmt/format.h>

#include <cmath>

#include "comp/matte/raster.h"
#include "comp/matte/svg_path.h"
#include "comp/matte/svg_read.h"
#include "comp/media/frames.h"
#include "comp/media/identity.h"
#include "comp/media/sequence.h"
#include "comp/spec/declare.h"

namespace pw::outline_kind {
namespace {

struct OutlineParams {
  std::string file, name;
  PathKeys keys;
  Between between = Between::smooth;
  double feather_px = 0;
  bool smear = true;
};
enum { kMotion };

// How far beyond the plate an outline is drawn: further than the widest feather of mattes looks, so that a thing that
// leaves the picture is whole up to its border.
constexpr double kBeyondPx = 640;

// Every file the outline is drawn in, with its frame when the file's name says it.
Result<std::vector<std::pair<std::optional<int>, std::string>>> files(const OutlineParams& p, const Shot& shot) {
  std::vector<std::pair<std::optional<int>, std::string>> all;
  if (p.file.empty()) return all;
  const std::string path = shot.path(p.file);
  if (!looks_like_pattern(path)) {
    all.emplace_back(std::nullopt, path);
    return all;
  }
  auto pattern = parse_pattern(path);
  if (!pattern) return fail(pattern.error());
  auto frames = scan_frames(*pattern);
  if (!frames) return fail(frames.error());
  for (int f : *frames) all.emplace_back(f, pattern->file(f));
  return all;
}

Result<Survey> survey(const OutlineParams& p, const Shot& shot) {
  auto all = files(p, shot);
  if (!all) return fail(all.error());
  Survey s;
  for (const auto& [frame, file] : *all) s.identity += file_identity(file) + "\n";
  return s;
}

Result<std::map<int, Shape>> drawn_in_files(const OutlineParams& p, const Shot& shot) {
  auto all = files(p, shot);
  if (!all) return fail(all.error());
  std::map<int, Shape> keys;
  for (const auto& [frame, file] : *all) {
    auto drawing = load_svg(file);
    if (!drawing) return fail(drawing.error());
    auto place = plate_from_drawing(*drawing, shot.width, shot.height);
    if (!place) return fail(place.error());
    auto picked = pick(*drawing, p.name);
    if (!picked) return fail(picked.error());
    for (const auto& [f, shape] : picked->keys) keys[f] = mapped(shape, *place);
    // Drawn on no frame in particular: the file's own, or one that stands for the whole shot.
    if (picked->still) keys[frame.value_or(shot.first)] = mapped(*picked->still, *place);
  }
  return keys;
}

// The paths were read when the shot was checked.
std::map<int, Shape> drawn_in_shot(const OutlineParams& p) {
  std::map<int, Shape> keys;
  for (const auto& [frame, text] : p.keys) keys[frame] = text.empty() ? Shape{} : *read_path(text);
  return keys;
}

Result<Measured> draw(const OutlineParams& p, const Measuring& m) {
  auto keys = p.file.empty() ? Result<std::map<int, Shape>>(drawn_in_shot(p)) : drawn_in_files(p, m.shot);
  if (!keys) return fail(keys.error());
  if (!m.has(kMotion)) return Measured(Outline(std::move(*keys), p.between));
  auto carried = Outline::carried(std::move(*keys), m.motion(kMotion), p.between);
  if (!carried) return fail(carried.error());
  return Measured(std::move(*carried));
}

const Outline& own(const Ask& a) { return std::get<Outline>(*a.own); }

RasterOptions raster_options(const OutlineParams& p, const Shot& shot) {
  return {.feather_px = p.feather_px, .shutter_deg = p.smear ? shot.shutter_deg : 0, .scale = shot.scale};
}

}  // namespace

Kind declare() {
  return Declare<OutlineParams>("outline", Family::measure, 2,
                                "The matte of something outlined by hand on a few frames.")
      .also({"roto", "rotoscope"})
      .input({.name = "motion",
              .flow = Flow::motion,
              .doc = "A plane that carries the outline between its keys.",
              .required = false})
      .output({"matte", Flow::outline, "1 inside, 0 outside."})
      .param("file", &OutlineParams::file,
             {.doc = "SVG drawings: one for each keyed frame, or one with groups named frame-12.",
              .role = Role::file_in,
              .example = "\"goose.####.svg\""})
      .param("name", &OutlineParams::name, {.doc = "The id of the shape in the drawings; empty: all that is drawn."})
      .param("keys", &OutlineParams::keys,
             {.doc = "Keyed frames drawn here instead, as SVG path data; an empty text says that the thing is gone "
                     "from that frame on."})
      .param("between", &OutlineParams::between,
             {.doc = "How points move between keys.", .choices = {"linear", "smooth"}})
      .param("feather_px", &OutlineParams::feather_px,
             {.doc = "Softness: 0 this far outside the outline, 1 this far inside.",
              .unit = Unit::px,
              .min = 0,
              .max = 512,
              .low = 0,
              .high = 32})
      .param("smear", &OutlineParams::smear, {.doc = "Smear the edge over the time the shutter is open."})
      .rule([](const OutlineParams&, const Given& given) -> std::optional<Complaint> {
        if (given("file") && given("keys"))
          return Complaint{"keys", "stand beside a file", "an outline comes from one of them: take one out"};
        if (!given("file") && !given("keys"))
          return Complaint{"", "has neither a file nor keys",
                           "add file = \"goose.####.svg\"; \"platewright probe\" writes drawings to begin with"};
        return std::nullopt;
      })
      .rule([](const OutlineParams& p, const Given&) -> std::optional<Complaint> {
        for (const auto& [frame, text] : p.keys)
          if (const auto shape = read_path(text); !text.empty() && !shape)
            return Complaint{"keys", fmt::format("cannot be read at frame {}: {}", frame, shape.error()[0].what),
                             shape.error()[0].remedy};
        return std::nullopt;
      })
      .survey(survey)
      .measure(draw)
      .extent([](const OutlineParams& p, const Ask& a) {
        const int beyond = static_cast<int>(std::ceil(a.shot.px(kBeyondPx)));
        return intersect(raster_bounds(own(a), a.frame, raster_options(p, a.shot)), a.shot.canvas().grown(beyond));
      })
      .make([](const OutlineParams& p, const Making& m) {
        return rasterise(own(m), m.frame, m.rect, raster_options(p, m.shot));
      });
}

}  // namespace pw::outline_kind
