#include "comp/graph/render.h"

#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstring>
#include <mutex>
#include <new>
#include <optional>

#include "comp/graph/bars.h"
#include "comp/graph/draw.h"
#include "comp/graph/key.h"
#include "comp/graph/reels.h"

namespace pw {
namespace {

// The rectangle a sink's file covers: where there are pixels, or the canvas when that is "everywhere" or nothing.
Rect file_rect(const Stage& stage, int sink, int frame) {
  const Node& node = stage.scene.graph.nodes[sink];
  const Rect extent = (*stage.extents(frame))[node.inputs[0][0].node];
  return extent == kEverywhere || extent.empty() ? stage.scene.shot.canvas() : unite(extent, stage.scene.shot.canvas());
}

// Why one file cannot be held in memory, when that is so: the smallest of bands does not help there.
std::optional<Problem> too_large(const Rect& file, int64_t limit) {
  const int64_t bytes = file.area() * 16;
  if (bytes <= std::max(limit, int64_t{1} << 28)) return std::nullopt;
  return Problem{.what = fmt::format("a picture of {}x{} takes {:.1f} GB, more than the limit of memory", file.width(),
                                     file.height(), bytes / 1e9),
                 .remedy = "raise --memory if the machine has it, or draw with a smaller --scale"};
}

// What one of the frames in hand may take.
int64_t limit_of_frame(const RenderOptions& o) { return o.memory_limit / std::max(1, o.frames_at_once); }

// Heights of the bands so that each band's plan fits into the limit.
int fitting_height(const Stage& stage, const Want& want, int64_t limit) {
  int height = want.rect.height();
  for (; height > 16; height = (height + 1) / 2) {
    Want band = want;
    band.rect.y1 = band.rect.y0 + height;
    if (make_plan(stage, {band}).peak_bytes() <= limit) break;
  }
  return std::max(1, height);
}

Result<Picture> draw_banded(const Drawing& drawing, const Want& want, const RenderOptions& options) {
  const int height =
      options.band_height > 0 ? options.band_height : fitting_height(drawing.stage, want, limit_of_frame(options));
  if (height >= want.rect.height()) {
    auto drawn = draw(drawing, make_plan(drawing.stage, {want}));
    if (!drawn) return fail(drawn.error());
    return std::move((*drawn)[0]);
  }
  Drawing banded = drawing;
  banded.in_bands = true;
  std::optional<Canvas> whole;
  for (int y = want.rect.y0; y < want.rect.y1; y += height) {
    Want band = want;
    band.rect.y0 = y, band.rect.y1 = std::min(y + height, want.rect.y1);
    auto drawn = draw(banded, make_plan(drawing.stage, {band}));
    if (!drawn) return fail(drawn.error());
    const Picture& part = (*drawn)[0];
    if (!whole) whole = Canvas::clear(want.rect, part.channels());
    const Rect inside = intersect(band.rect, part.window());
    for (int row = inside.y0; row < inside.y1; ++row)
      std::memcpy(whole->at(inside.x0, row), part.at(inside.x0, row), sizeof(float) * part.channels() * inside.width());
  }
  return std::move(*whole).finish().cropped((*drawing.stage.extents(want.frame))[want.node]);
}

// Of one frame, in one go: what several of them come from is drawn once. Nothing when that does not fit into the memory
// limit, or when one of them cannot be drawn.
std::optional<std::vector<Picture>> draw_together(const Drawing& drawing, const std::vector<Want>& wants,
                                                  const RenderOptions& options) {
  if (wants.size() < 2 || options.band_height > 0) return std::nullopt;
  for (const Want& w : wants)
    if (too_large(w.rect, options.memory_limit)) return std::nullopt;
  const Plan plan = make_plan(drawing.stage, wants);
  if (plan.peak_bytes() > limit_of_frame(options)) return std::nullopt;
  auto drawn = draw(drawing, plan);
  if (!drawn) return std::nullopt;
  for (size_t i = 0; i < wants.size(); ++i) (*drawn)[i] = (*drawn)[i].cropped(wants[i].rect);
  return std::move(*drawn);
}

// What is to be written of one frame.
struct Due {
  int sink;
  std::string origin;
  Want want;
};

}  // namespace

std::string_view name(Outcome o) {
  constexpr std::string_view names[] = {"written", "kept", "failed"};
  return names[static_cast<size_t>(o)];
}

RenderReport render(const Scene& scene, const Results& results, const std::vector<int>& sinks,
                    const std::vector<int>& frames, const RenderOptions& options) {
  const Stage stage(scene, results.measured);
  Kept kept(options.memory_limit / 4);
  const Drawing drawing{stage, options.runner, kept, options.tile_width, options.tile_height, options.loads};
  const std::vector<std::string> keys = cache_keys(scene);
  Reels reels(scene, sinks, frames, keys, options.reuse);
  RenderReport report;
  std::mutex mutex;
  std::vector<Problems> told(frames.size());
  int done = 0;

  std::atomic<bool> enough{false};  // Of a strict run.

  auto is_there = [&](int sink, int frame, const std::string& origin) {
    const Node& node = scene.graph.nodes[sink];
    return options.reuse && !reels.of(sink) && node.kind->hooks.origin &&
           node.kind->hooks.origin(node.params.get(), scene.shot, frame) == origin;
  };
  auto draw_alone = [&](const Due& d) -> Result<Picture> {
    if (auto problem = too_large(d.want.rect, options.memory_limit)) return fail(std::move(*problem));
    return draw_banded(drawing, d.want, options);
  };
  // The value holds warnings. `drawn`: when it has been already.
  auto deliver = [&](const Due& d, const Picture* drawn) -> Result<Problems> {
    const Node& node = scene.graph.nodes[d.sink];
    try {
      Result<Picture> picture = drawn ? *drawn : draw_alone(d);
      if (picture) picture = with_bars(drawing, d.want.frame, *picture);
      if (!picture) return fail(picture.error());
      if (Reel* reel = reels.of(d.sink)) return reel->add(d.want.frame, *picture);
      return node.kind->hooks.deliver(
          node.params.get(), Delivering{scene.shot, d.want.frame, *picture, d.origin, std::string(target_name())});
    } catch (const std::bad_alloc&) {  // The other frames may still fit.
      return fail(Problem{.what = fmt::format("{}: the machine has no more memory", node.name),
                          .remedy = "lower --memory, --threads or --scale"});
    }
  };
  auto together = [&](const std::vector<Due>& due) -> std::optional<std::vector<Picture>> {
    std::vector<Want> wants;
    for (const Due& d : due) wants.push_back(d.want);
    try {
      return draw_together(drawing, wants, options);
    } catch (const std::bad_alloc&) {  // One by one they may fit.
      return std::nullopt;
    }
  };
  using Clock = std::chrono::steady_clock;
  const auto since = [](Clock::time_point t) { return std::chrono::duration<double>(Clock::now() - t).count(); };
  auto one = [&](size_t i) {
    if (const bool stopped = options.stop && options.stop->load(); stopped || enough) {
      std::lock_guard lock(mutex);
      (stopped ? report.stopped : report.given_up) = true;
      return;
    }
    const int frame = frames[i];
    auto tell = [&](int sink, Outcome outcome, double seconds, Problems problems) {
      for (Problem& p : problems) p.frame = frame;
      if (options.strict && !problems.empty()) enough = true;
      std::lock_guard lock(mutex);
      report.written += outcome == Outcome::written && !reels.of(sink);
      report.kept += outcome == Outcome::kept;
      if (options.delivered) options.delivered({sink, frame, outcome, seconds, problems});
      for (Problem& p : problems) {
        // The same broken input met through two sinks is told once.
        const bool known = std::any_of(told[i].begin(), told[i].end(),
                                       [&](const Problem& q) { return q.file == p.file && q.what == p.what; });
        if (!known) told[i].push_back(std::move(p));
      }
    };
    std::vector<Due> due;
    for (int sink : sinks) {
      if (!reels.takes(sink)) continue;
      const Link& from = scene.graph.nodes[sink].inputs[0][0];
      const std::string origin = fmt::format("{} {}", keys[sink], frame);
      if (is_there(sink, frame, origin))
        tell(sink, Outcome::kept, 0, {});
      else
        due.push_back({sink, origin, {from.node, from.output, frame, file_rect(stage, sink, frame)}});
    }
    const auto begun = Clock::now();
    const auto drawn = together(due);
    const double share = due.empty() ? 0 : since(begun) / static_cast<double>(due.size());
    for (size_t k = 0; k < due.size(); ++k) {
      const auto start = Clock::now();
      Result<Problems> result = deliver(due[k], drawn ? &(*drawn)[k] : nullptr);
      if (!result) reels.lose(due[k].sink, frame);
      tell(due[k].sink, result ? Outcome::written : Outcome::failed, share + since(start),
           result ? std::move(*result) : std::move(result.error()));
    }
    if (options.strict && options.loads && options.loads->any()) enough = true;
    std::lock_guard lock(mutex);
    report.frames += !any_error(told[i]);
    ++done;
    if (options.progress) options.progress(frame, done, static_cast<int>(frames.size()));
  };
  // Frames are begun in order whatever runs them, so that a stop leaves no holes.
  std::atomic<size_t> next{0};
  const auto lane = [&](size_t) {
    for (size_t i; (i = next++) < frames.size();) one(i);
  };
  // So many lanes and no more: one task a frame would let a thread that waits for tiles begin further frames.
  if (options.frames_at_once <= 1)
    lane(0);
  else
    options.runner.run(std::min<size_t>(options.frames_at_once, frames.size()), lane);
  for (Problems& p : told) report.problems.insert(report.problems.end(), p.begin(), p.end());
  reels.finish(report);
  return report;
}

Result<Picture> render_node(const Scene& scene, const Results& results, int node, int output, int frame,
                            const RenderOptions& options) {
  if (!scene.graph.nodes[node].kind->hooks.make && !scene.graph.nodes[node].kind->hooks.load)
    return fail(Problem{
        .what = fmt::format("{} ({}) has no picture", scene.graph.nodes[node].name, scene.graph.nodes[node].kind->name),
        .remedy = "name a node that gives a picture or a matte",
        .file = scene.graph.file});
  if (auto problem = too_large(scene.shot.canvas(), options.memory_limit)) return fail(std::move(*problem));
  const Stage stage(scene, results.measured);
  Kept kept(options.memory_limit / 4);
  return draw_banded({stage, options.runner, kept, options.tile_width, options.tile_height, options.loads},
                     {node, output, frame, scene.shot.canvas()}, options);
}

}  // namespace pw
