#include <fmt/format.h>

#include "comp/kinds/measured_frames.h"
#include "comp/media/identity.h"
#include "comp/media/whole_file.h"
#include "comp/repair/noise_file.h"
#include "comp/repair/noise_measure.h"
#include "comp/spec/declare.h"

namespace pw::noise_kind {
namespace {

struct NoiseParams {
  std::string file;
  Polygon levels;
};
enum { kImage, kMotion, kIgnore };

class Frames final : public NoiseFrames {
 public:
  explicit Frames(const Measuring& m) : read(m), shot_(m.shot) {}
  int first() const override { return shot_.first; }
  int last() const override { return shot_.last; }
  Picture image(int frame) const override { return read.get(kImage, 0, frame); }
  Picture ignore(int frame) const override { return read.mattes(kIgnore, frame); }
  const MeasuredFrames read;

 private:
  const Shot& shot_;
};

Result<Noise> from_file(const std::string& path) {
  auto bytes = read_whole_file(path);
  if (!bytes) return fail(bytes.error());
  const ByteSpan s = bytes->bytes();
  return parse_noise({reinterpret_cast<const char*>(s.data()), s.size()}, path);
}

Result<Measured> measure(const NoiseParams& p, const Measuring& m) {
  if (!p.file.empty()) {
    auto noise = from_file(m.shot.path(p.file));
    if (!noise) return fail(noise.error());
    return Measured(std::move(*noise));
  }
  if (!p.levels.empty()) {
    std::vector<Noise::Level> levels;
    for (const Point& l : p.levels) levels.push_back({l.x(), l.y()});
    return Measured(Noise::white(std::move(levels)));
  }
  const Frames frames(m);
  bool stopped = false;
  const auto progress = [&](int done, int total) {
    stopped = !m.progress(done, total);
    return !stopped && frames.read.problems().empty();
  };
  const auto measured = measure_noise(frames, m.has(kMotion) ? &m.motion(kMotion) : nullptr, m.runner, progress);
  if (!frames.read.problems().empty()) return fail(frames.read.problems());
  if (stopped) return fail(Problem{.what = "stopped", .remedy = "run it again; what is stored is used again"});
  if (!measured)
    return fail(Problem{.what = "too few places lie on one another in two frames to tell the grain",
                        .remedy = "name the motion of the largest plane, or give levels = [[0, 0.002], [1, 0.02]]"});
  return Measured(*measured);
}

constexpr std::string_view kKeyStart = "{\"key\": \"";

Result<void> save(const Measured& m, const std::string& stem, const std::string& key) {
  const std::string text = std::string(kKeyStart) + key + "\", " + noise_text(std::get<Noise>(m)).substr(1);
  return write_whole_file(stem + ".json", {reinterpret_cast<const unsigned char*>(text.data()), text.size()});
}

Result<Measured> recall(const std::string& stem, const std::string& key) {
  auto bytes = read_whole_file(stem + ".json");
  if (!bytes) return fail(bytes.error());
  const ByteSpan s = bytes->bytes();
  const std::string_view text(reinterpret_cast<const char*>(s.data()), s.size());
  if (!text.starts_with(std::string(kKeyStart) + key + "\""))
    return fail(Problem{.what = "it came from something else"});
  auto noise = parse_noise(text, stem + ".json");
  if (!noise) return fail(noise.error());
  return Measured(std::move(*noise));
}

Result<Survey> survey(const NoiseParams& p, const Shot& shot) {
  Survey s;
  if (p.file.empty()) return s;
  if (auto noise = from_file(shot.path(p.file)); !noise) return fail(noise.error());
  s.identity = file_identity(shot.path(p.file));
  return s;
}

}  // namespace

Kind declare() {
  return Declare<NoiseParams>(
             "noise", Family::measure, 6,
             "The plate's grain: its level at each brightness, and how pixels and channels hang together; and how much "
             "light its rain adds.")
      .also({"grain analysis"})
      .input({.name = "image", .flow = Flow::picture, .doc = "The moving plate.", .required = false})
      .input({.name = "motion",
              .flow = Flow::motion,
              .doc = "The motion of its largest plane; none: the camera stands still.",
              .required = false})
      .input({.name = "ignore", .flow = Flow::matte, .doc = "What moves otherwise.", .required = false, .list = true})
      .output({"noise", Flow::noise, "The grain."})
      .param(
          "file", &NoiseParams::file,
          {.doc = "A noise file (.json, as SHOT.measured holds) to use instead of measuring.", .role = Role::file_in})
      .param("levels", &NoiseParams::levels,
             {.doc = "Instead of measuring, fine and in each channel its own: brightness and standard deviation, both "
                     "scene-linear, for brightness ascending.",
              .example = "[[0, 0.002], [0.18, 0.01], [1, 0.023]]"})
      .rule([](const NoiseParams& p, const Given& given) -> std::optional<Complaint> {
        const int ways = given("image") + given("file") + given("levels");
        if (ways == 0)
          return Complaint{"", "has nothing to measure", "name a picture: image = \"NODE\", or a file, or levels"};
        if (ways > 1)
          return Complaint{given("levels") ? "levels" : "file", "stands beside another source of the grain",
                           "keep one of image, file and levels"};
        for (size_t i = 0; i < p.levels.size(); ++i) {
          const bool range =
              p.levels[i].x() >= 0 && p.levels[i].x() <= 1e6 && p.levels[i].y() >= 0 && p.levels[i].y() <= 1e6;
          if (!range) return Complaint{"levels", "holds a number below 0 or above a million", "light is 0 or more"};
          if (i && p.levels[i].x() <= p.levels[i - 1].x())
            return Complaint{"levels", "does not ascend in brightness", "sort it by its first numbers"};
        }
        if (given("levels") && p.levels.empty())
          return Complaint{"levels", "is empty", "give at least one: levels = [[0.18, 0.01]]"};
        return std::nullopt;
      })
      .survey(survey)
      .measure(measure)
      .save(save)
      .recall(recall);
}

}  // namespace pw::noise_kind
