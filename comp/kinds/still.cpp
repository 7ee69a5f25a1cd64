#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "comp/kinds/still_file.h"
#include "comp/repair/together.h"
#include "comp/spec/declare.h"
#include "warp/resample.h"

namespace pw::still_kind {
namespace {

struct StillParams {
  std::string file;
  std::string encoding = "tagged";
  int64_t own_frame = 0;
  std::vector<int64_t> frames;
  Merge merge = Merge::sharpest;
  double feather_px = 8;
};
enum { kImage, kMotion, kIgnore };

Result<Measured> from_file(const StillParams& p, const Measuring& m) {
  auto file = read_still_file(p.file, p.encoding, m);
  if (!file) return fail(file.error());
  Still still{std::move(*file), std::nullopt, {}, 0};
  if (p.own_frame) still.own_frame = static_cast<int>(p.own_frame);
  return Measured(std::move(still));
}

Result<Picture> ignored(const Measuring& m, int frame) {
  if (!m.has(kIgnore)) return Picture();
  Canvas all = Canvas::clear(m.shot.canvas(), 1);
  for (size_t i = 0; i < m.inputs[kIgnore].size(); ++i) {
    auto p = m.get(kIgnore, static_cast<int>(i), frame);
    if (!p) return p;
    const Rect r = intersect(p->window(), all.window());
    for (int y = r.y0; y < r.y1; ++y)
      for (int x = r.x0; x < r.x1; ++x) *all.at(x, y) = std::max(*all.at(x, y), *p->at(x, y));
  }
  return std::move(all).finish();
}

// Frames in order of preference: least smeared first, as the motion tells; in the given order without a motion.
std::vector<int> preferred(const StillParams& p, const Measuring& m) {
  std::vector<int> frames(p.frames.begin(), p.frames.end());
  if (m.has(kMotion) && frames.size() > 1)
    std::stable_sort(frames.begin(), frames.end(), [&](int a, int b) {
      return smear_px(m.motion(kMotion), a, m.shot.shutter_deg) < smear_px(m.motion(kMotion), b, m.shot.shutter_deg);
    });
  return frames;
}

// Standard deviation of the median of n normal numbers of deviation 1; off by less than 4 %.
double grain_of_median(size_t n) {
  return n < 3 ? std::sqrt(1.0 / static_cast<double>(n)) : std::sqrt(1.5707963 / (static_cast<double>(n) + 0.5));
}

Result<Measured> from_frames(const StillParams& p, const Measuring& m) {
  const std::vector<int> frames = preferred(p, m);
  std::vector<View> views;
  Rect window = m.shot.canvas();
  for (int f : frames) {
    Matrix3 base_from_view = Matrix3::Identity();
    if (f != frames[0]) {
      const auto moved = m.motion(kMotion).between(frames[0], f);
      if (!moved)
        return fail(Problem{.what = fmt::format("the motion is not known at frame {} or {}", frames[0], f),
                            .remedy = "leave that frame out, or mend the track"});
      base_from_view = *moved;
    }
    auto picture = m.get(kImage, 0, f);
    if (!picture) return fail(picture.error());
    auto ignore = ignored(m, f);
    if (!ignore) return fail(ignore.error());
    if (const auto bounds = mapped_bounds(base_from_view, picture->window())) window = unite(window, *bounds);
    views.push_back({std::move(*picture), std::move(*ignore), base_from_view});
    if (!m.progress(static_cast<int>(views.size()), static_cast<int>(frames.size()) + 1))
      return fail(Problem{.what = "stopped", .remedy = "run it again; what is stored is used again"});
  }
  // Not more than a plate's size beyond the plate: a plane seen edge-on would reach to the horizon.
  const Rect canvas = m.shot.canvas();
  window = intersect(window, {-canvas.x1, -canvas.y1, 2 * canvas.x1, 2 * canvas.y1});
  // Bars of letterboxed frames need no cover.
  const Rect shown = m.inputs[kImage][0].extent;
  Together t = bring_together(views, window, shown == kEverywhere ? canvas : intersect(canvas, shown), p.merge,
                              p.feather_px, m.runner);
  m.progress(static_cast<int>(frames.size()) + 1, static_cast<int>(frames.size()) + 1);
  return Measured(Still{std::move(t.picture), frames[0], frames, t.uncovered_share,
                        p.merge == Merge::median ? grain_of_median(frames.size()) : 1});
}

constexpr const char *kKey = "PlatewrightKey", *kFrames = "PlatewrightFrames", *kBare = "PlatewrightUncovered",
                     *kGrain = "PlatewrightGrain";

Result<void> save(const Measured& m, const std::string& stem, const std::string& key) {
  const Still& s = std::get<Still>(m);
  if (s.frames.empty()) return {};  // A file is its own store.
  return save_still(s, stem,
                    {{kKey, key},
                     {kFrames, fmt::format("{}", fmt::join(s.frames, " "))},
                     {kBare, fmt::format("{}", s.uncovered_share)},
                     {kGrain, fmt::format("{}", s.grain_share)}});
}

Result<Measured> recall(const std::string& stem, const std::string& key) {
  const std::string file = stem + ".exr";
  auto info = inspect_still(file);
  if (!info) return fail(info.error());
  if (text_in(*info, kKey) != key) return fail(Problem{.what = "it came from something else"});
  auto read = read_still(file);
  if (!read) return fail(read.error());
  Still s{std::move(read->picture), std::nullopt, {}, 0};
  const std::string frames = text_in(*info, kFrames), bare = text_in(*info, kBare), grain = text_in(*info, kGrain);
  for (const char* at = frames.c_str(); *at;) {
    char* end;
    const long f = std::strtol(at, &end, 10);
    if (end == at) break;
    s.frames.push_back(static_cast<int>(f));
    at = end;
  }
  if (s.frames.empty()) return fail(Problem{.what = "it does not say what it came from"});
  std::from_chars(bare.data(), bare.data() + bare.size(), s.uncovered_share);
  std::from_chars(grain.data(), grain.data() + grain.size(), s.grain_share);
  s.own_frame = s.frames[0];
  return Measured(std::move(s));
}

Problems remarks(const Measured& m) {
  const Still& s = std::get<Still>(m);
  if (s.uncovered_share <= 0) return {};
  return {{.what = fmt::format("no frame shows {:.2f} % of the picture", 100 * s.uncovered_share),
           .remedy = "those pixels are clear; add a frame that shows them",
           .severity = Severity::warning}};
}

Picture make(const StillParams&, const Making& m) {
  const Picture& p = own_still(m).picture;
  return m.shot.scale == 1 ? p.cropped(m.rect)
                           : resample(p, scaling(m.shot.scale, m.shot.scale), m.rect, {.edge = Edge::hold});
}

}  // namespace

Kind declare() {
  return Declare<StillParams>("still", Family::bake, 2,
                              "One picture that stands for the whole shot: a file, or frames brought together.")
      .also({"freeze", "photo"})
      .input({.name = "image", .flow = Flow::picture, .doc = "The frames it is taken from.", .required = false})
      .input({.name = "motion", .flow = Flow::motion, .doc = "What brings several frames together.", .required = false})
      .input({.name = "ignore", .flow = Flow::matte, .doc = "What must not be in it.", .required = false, .list = true})
      .output({"image", Flow::picture, "The still."})
      .param("file", &StillParams::file, {.doc = "A picture file instead of frames.", .role = Role::file_in})
      .param("encoding", &StillParams::encoding, still_encoding())
      .param("own_frame", &StillParams::own_frame,
             {.doc = "The frame whose pixels the file lies in; 0: the reference frame of what moves it.",
              .unit = Unit::frames,
              .min = -9999999,
              .max = 9999999})
      .param("frames", &StillParams::frames,
             {.doc = "Frames in which the background is seen; the least smeared one gives the still its place.",
              .unit = Unit::frames,
              .min = -9999999,
              .max = 9999999,
              .example = "[46, 47, 50]"})
      .param("merge", &StillParams::merge,
             {.doc = "sharpest: each place from the least smeared frame that shows it; median: from all that show it.",
              .choices = {"sharpest", "median"}})
      .param(
          "feather_px", &StillParams::feather_px,
          {.doc = "Width of the joins between frames.", .unit = Unit::px, .min = 0, .max = 512, .low = 0, .high = 64})
      .rule([](const StillParams& p, const Given& given) -> std::optional<Complaint> {
        if (given("file") && given("image"))
          return Complaint{"file", "stands beside an image", "a still comes from one of them: take one out"};
        if (given("file") && given("frames"))
          return Complaint{"frames", "stand beside a file", "a still comes from one of them: take one out"};
        if (given("file")) return std::nullopt;
        if (!given("image"))
          return Complaint{"", "has neither a file nor an image", "add file = \"...\", or image = \"NODE\" and frames"};
        if (p.frames.empty())
          return Complaint{given("frames") ? "frames" : "", "has no frames",
                           "name those that show the background: frames = [46, 47]"};
        if (p.frames.size() > 64) return Complaint{"frames", "names more than 64 frames", "the best few are enough"};
        std::vector<int64_t> sorted = p.frames;
        std::sort(sorted.begin(), sorted.end());
        if (std::adjacent_find(sorted.begin(), sorted.end()) != sorted.end())
          return Complaint{"frames", "names a frame twice", "name each once"};
        if (p.frames.size() > 1 && !given("motion"))
          return Complaint{"frames", "names several frames, but nothing says how they move",
                           "add motion = \"NODE\", or name one frame"};
        return std::nullopt;
      })
      .survey([](const StillParams& p, const Shot& shot) { return survey_still_file(p.file, p.encoding, shot); })
      .measure(
          [](const StillParams& p, const Measuring& m) { return p.file.empty() ? from_frames(p, m) : from_file(p, m); })
      .save(save)
      .recall(recall)
      .remarks(remarks)
      .extent([](const StillParams&, const Ask& a) { return still_extent(own_still(a), a.shot); })
      .make(make);
}

}  // namespace pw::still_kind
