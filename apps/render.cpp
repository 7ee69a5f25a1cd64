#include "comp/graph/render.h"

#include <fmt/format.h>

#include <chrono>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <thread>

#include "apps/open.h"
#include "apps/say.h"
#include "comp/media/frames.h"

namespace pw {
namespace {

using Json = nlohmann::ordered_json;

// The frames asked for with --frames, or the whole shot.
std::optional<std::vector<int>> frames_of(const std::string& text, const Shot& shot) {
  std::vector<int> frames;
  if (text.empty()) {
    for (int f = shot.first; f <= shot.last; ++f) frames.push_back(f);
    return frames;
  }
  auto parsed = parse_frames(text);
  if (!parsed) {
    say(parsed.error());
    return std::nullopt;
  }
  for (int f : *parsed)
    if (f < shot.first || f > shot.last) {
      say({{.what = fmt::format("frame {} is outside the shot", f),
            .remedy = fmt::format("it has frames {} to {}", shot.first, shot.last),
            .file = "--frames " + text}});
      return std::nullopt;
    }
  return *parsed;
}

// Folders of the files to come are made before the first frame, so that a closed one is told at once.
Problems make_folders(const Scene& scene, const std::vector<int>& sinks, int frame) {
  Problems problems;
  for (int s : sinks) {
    const Node& node = scene.graph.nodes[s];
    const std::filesystem::path folder =
        std::filesystem::path(node.kind->hooks.target(node.params.get(), scene.shot, frame)).parent_path();
    std::error_code error;
    if (!folder.empty()) std::filesystem::create_directories(folder, error);
    const Position at = node.where("file");
    if (error)
      problems.push_back({.what = fmt::format("the folder {} cannot be made ({})", folder.string(), error.message()),
                          .remedy = "make its parent writable or deliver elsewhere",
                          .file = scene.graph.file,
                          .line = at.line,
                          .column = at.column,
                          .node = node.name});
  }
  return problems;
}

void print_plan(const Scene& scene, const Results& results, const std::vector<int>& sinks,
                const std::vector<int>& frames) {
  const Stage stage(scene, results.measured);
  fmt::print("{} frames, {} to {}; the first one takes these steps:\n", frames.size(), frames.front(), frames.back());
  for (int s : sinks) {
    const Node& sink = scene.graph.nodes[s];
    const Link& from = sink.inputs[0][0];
    const Plan plan = make_plan(stage, {{from.node, from.output, frames.front(), scene.shot.canvas()}});
    for (const Step& step : plan.steps)
      fmt::print("  {:<16} {:<10} frame {:<6} {}x{} at {},{}\n", scene.graph.nodes[step.node].name,
                 scene.graph.nodes[step.node].kind->name, step.frame, step.rect.width(), step.rect.height(),
                 step.rect.x0, step.rect.y0);
    fmt::print("  {:<16} -> {} ({:.0f} MB at most)\n", sink.name,
               sink.kind->hooks.target(sink.params.get(), scene.shot, frames.front()), plan.peak_bytes() / 1e6);
  }
}

}  // namespace

int run(const RenderCommand& c) {
  const auto memory = memory_limit(c.memory);
  if (!memory) return kMistake;
  const auto scene = open_shot(c, c.scale);
  if (!scene) return kMistake;
  const auto nodes = nodes_named(*scene, c.nodes);
  if (!nodes) return kMistake;
  for (int n : *nodes)
    if (scene->graph.nodes[n].kind->family != Family::sink) {
      say({{.what = fmt::format("{} is no delivery", scene->graph.nodes[n].name),
            .remedy = "name a deliver node, or none to render them all",
            .file = scene->graph.file}});
      return kMistake;
    }
  if (nodes->empty()) {
    say({{.what = "the shot delivers nothing",
          .remedy = "add a deliver node: see \"platewright kinds deliver\"",
          .file = c.shot}});
    return kMistake;
  }
  const auto frames = frames_of(c.frames, scene->shot);
  if (!frames) return kMistake;
  if (!c.dry_run)
    if (const Problems p = make_folders(*scene, *nodes, frames->front()); !p.empty()) return say(p), kMistake;

  watch_for_stop();
  const auto runner = arena(c.threads);
  const auto start = std::chrono::steady_clock::now();
  Json steps = Json::array();
  std::optional<Progress> measuring;
  std::string measured;
  const auto results =
      measure(*scene, *nodes, {*runner, *memory, !c.again, [&](const std::string& node, int done, int total) {
                                 if (node != measured) measuring.emplace(measured = node, c.json);
                                 measuring->at(done, total);
                                 return !stop_asked();
                               }});
  measuring.reset();
  if (!results) {
    say(results.error());
    return stop_asked() ? kStopped : kMistake;
  }
  say(results->remarks);
  for (const MeasuredNode& m : results->done) {
    const std::string& name = scene->graph.nodes[m.node].name;
    steps.push_back({{"node", name}, {"reused", m.reused}, {"seconds", m.seconds}});
    if (!c.json)
      fmt::print(stderr, "{}: {} in {:.2f} s\n", name, m.reused ? "stored result reused" : "measured", m.seconds);
  }
  if (c.dry_run) return print_plan(*scene, *results, *nodes, *frames), kDone;

  const int at_once = c.threads > 0 ? c.threads : static_cast<int>(std::thread::hardware_concurrency());
  Progress progress("frames", c.json);
  const auto drawing = std::chrono::steady_clock::now();
  const RenderReport report = render(*scene, *results, *nodes, *frames,
                                     {.runner = *runner,
                                      .frames_at_once = at_once,
                                      .memory_limit = *memory,
                                      .stop = &stop_asked(),
                                      .progress = [&](int, int done, int total) { progress.at(done, total); }});
  const auto end = std::chrono::steady_clock::now();
  const std::chrono::duration<double> drew = end - drawing, all = end - start;
  const bool failed = any_error(report.problems);
  if (c.json) {
    Json j = {{"frames", report.frames},
              {"files", report.written},
              {"seconds", all.count()},
              {"render_seconds", drew.count()},
              {"measured", steps},
              {"stopped", report.stopped},
              {"problems", Json::parse(json_text(report.problems))}};
    fmt::print("{}\n", j.dump());
  } else {
    say(report.problems);
    fmt::print("{} files of {} frames in {:.1f} s ({:.2f} frames/s)\n", report.written, report.frames, drew.count(),
               report.frames / std::max(1e-9, drew.count()));
    if (failed) fmt::print("{} of {} frames failed; see above\n", frames->size() - report.frames, frames->size());
  }
  return report.stopped ? kStopped : failed ? kSomeFailed : kDone;
}

}  // namespace pw
