#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "comp/colour/light_measure.h"
#include "comp/kinds/measured_frames.h"
#include "comp/media/still.h"
#include "comp/spec/declare.h"

namespace pw::light_kind {
namespace {

struct LightParams {
  double cell_px = 0;
};
enum { kImage, kStill, kMotion, kIgnore };

class Frames final : public LightFrames {
 public:
  explicit Frames(const Measuring& m) : read(m), shot_(m.shot) {}
  int width() const override { return shot_.width; }
  int height() const override { return shot_.height; }
  int first() const override { return shot_.first; }
  int last() const override { return shot_.last; }
  Picture plate(int frame) const override { return read.get(kImage, 0, frame); }
  Picture still(int frame) const override { return read.get(kStill, 0, frame); }
  Picture ignore(int frame) const override { return read.mattes(kIgnore, frame); }
  const MeasuredFrames read;

 private:
  const Shot& shot_;
};

// A 60th of the width, rounded: small enough for a lantern on a wall, large enough to have pixels beside what is
// removed.
double cell(const LightParams& p, const Shot& shot) {
  return p.cell_px > 0 ? p.cell_px : std::max(4.0, std::round(shot.width / 60.0));
}

Result<Measured> measure(const LightParams& p, const Measuring& m) {
  const Frames frames(m);
  const auto progress = [&](int done, int total) { return m.progress(done, total) && frames.read.problems().empty(); };
  auto light =
      measure_light(frames, m.has(kMotion) ? &m.motion(kMotion) : nullptr, cell(p, m.shot), m.runner, progress);
  if (!frames.read.problems().empty()) return fail(frames.read.problems());
  if (!light) return fail(light.error());
  return Measured(std::move(*light));
}

constexpr const char *kKey = "PlatewrightKey", *kSize = "PlatewrightSize", *kCell = "PlatewrightCell",
                     *kSeen = "PlatewrightSeen";

// One picture: the fields of all frames, in stops, one below the other.
Result<void> save(const Measured& m, const std::string& stem, const std::string& key) {
  const Light& l = std::get<Light>(m);
  Canvas strip(Rect::sized(l.columns, l.rows * static_cast<int>(l.frames.size())), 3);
  std::string seen;
  for (size_t i = 0; i < l.frames.size(); ++i) {
    for (int y = 0; y < l.rows; ++y)
      std::copy_n(&l.frames[i].stops[size_t{3} * y * l.columns], 3 * l.columns,
                  strip.row(static_cast<int>(i) * l.rows + y));
    seen += fmt::format("{}{} {}", i ? " " : "", l.frames[i].frame, l.frames[i].seen_share);
  }
  WriteOptions o;
  o.depth = Depth::float32;
  o.encoding = Encoding::linear;
  o.compression = "zip";
  o.texts = {{kKey, key},
             {kSize, fmt::format("{} {}", l.width, l.height)},
             {kCell, fmt::format("{}", l.cell_px)},
             {kSeen, seen}};
  if (auto written = write_still(stem + ".exr", std::move(strip).finish(), o); !written) return fail(written.error());
  return {};
}

// Numbers between blanks; empty when there is anything else.
std::vector<double> numbers(const std::string& text) {
  std::vector<double> all;
  const char *at = text.data(), *end = at + text.size();
  while (at < end) {
    double v;
    const auto [next, error] = std::from_chars(at, end, v);
    if (error != std::errc{} || !(std::abs(v) < 1e9)) return {};
    all.push_back(v);
    at = next < end && *next == ' ' ? next + 1 : next;
    if (at == next && at < end) return {};
  }
  return all;
}

Result<Measured> recall(const std::string& stem, const std::string& key) {
  auto read = read_still(stem + ".exr");
  if (!read) return fail(read.error());
  if (text_in(read->info, kKey) != key) return fail(Problem{.what = "it came from something else"});
  const auto size = numbers(text_in(read->info, kSize)), cell = numbers(text_in(read->info, kCell)),
             seen = numbers(text_in(read->info, kSeen));
  const Problem damaged{.what = "it is damaged"};
  if (size.size() != 2 || cell.size() != 1 || cell[0] < 1 || seen.empty() || seen.size() % 2) return fail(damaged);
  Light l = Light::grid(static_cast<int>(size[0]), static_cast<int>(size[1]), cell[0]);
  const Picture& strip = read->picture;
  if (strip.channels() != 3 || strip.window() != Rect::sized(l.columns, l.rows * static_cast<int>(seen.size() / 2)))
    return fail(damaged);
  for (size_t i = 0; i < seen.size() / 2; ++i) {
    LightFrame f{static_cast<int>(seen[2 * i]), {}, seen[2 * i + 1]};
    for (int y = 0; y < l.rows; ++y) {
      const float* row = strip.row(static_cast<int>(i) * l.rows + y);
      f.stops.insert(f.stops.end(), row, row + 3 * l.columns);
    }
    l.frames.push_back(std::move(f));
  }
  return Measured(std::move(l));
}

Problems remarks(const Measured& m) {
  std::vector<int> dark;
  for (const LightFrame& f : std::get<Light>(m).frames)
    if (f.seen_share < 0.02) dark.push_back(f.frame);
  if (dark.empty()) return {};
  return {{.what = fmt::format("{} frames show too little to measure the light on, the first is {}", dark.size(),
                               dark.front()),
           .remedy = "there it comes from the frames around",
           .severity = Severity::warning}};
}

}  // namespace

Kind declare() {
  return Declare<LightParams>("light", Family::measure, 4,
                              "How the plate's light changes against a still: lamps, clouds, exposure, lightning.")
      .also({"flicker", "exposure", "deflicker"})
      .input({"image", Flow::picture, "The plate."})
      .input({"still", Flow::picture, "The still as it is pinned to the plate, not relit."})
      .input({.name = "motion",
              .flow = Flow::motion,
              .doc = "The plane's motion, so that frames are compared place by place; none: the camera stands still.",
              .required = false})
      .input({.name = "ignore",
              .flow = Flow::matte,
              .doc = "Where the plate shows something else: what is removed, what passes in front.",
              .required = false,
              .list = true})
      .output({"light", Flow::light, "The change of light, frame by frame."})
      .param("cell_px", &LightParams::cell_px,
             {.doc = "Distance of the places the light is measured at; 0: a 60th of the plate's width.",
              .unit = Unit::px,
              .min = 0,
              .max = 1024,
              .low = 0,
              .high = 64})
      .rule([](const LightParams& p, const Given&) -> std::optional<Complaint> {
        if (p.cell_px == 0 || p.cell_px >= 4) return std::nullopt;
        return Complaint{"cell_px", fmt::format("is {}", p.cell_px), "it is 4 or more, or 0 for a 60th of the width"};
      })
      .measure(measure)
      .save(save)
      .recall(recall)
      .remarks(remarks);
}

}  // namespace pw::light_kind
