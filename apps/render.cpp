#include "comp/graph/render.h"

#include <fmt/format.h>

#include <chrono>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <thread>

#include "apps/log.h"
#include "apps/open.h"
#include "apps/say.h"
#include "comp/media/frames.h"
#include "comp/media/whole_file.h"

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

// Folders of the files to come are made before the first frame, so that a closed one is told at once; what a killed run
// left in them half-written is taken away. `made`: those that were not there.
Problems make_folders(const Scene& scene, const std::vector<int>& sinks, int frame, std::vector<std::string>& made) {
  Problems problems;
  for (int s : sinks) {
    const Node& node = scene.graph.nodes[s];
    const std::filesystem::path folder =
        std::filesystem::path(node.kind->hooks.target(node.params.get(), scene.shot, frame)).parent_path();
    std::error_code error;
    if (!folder.empty() && std::filesystem::create_directories(folder, error)) made.push_back(folder.string());
    const Position at = node.where("file");
    if (error)
      problems.push_back({.what = fmt::format("the folder {} cannot be made ({})", folder.string(), error.message()),
                          .remedy = "make its parent writable or deliver elsewhere",
                          .file = scene.graph.file,
                          .line = at.line,
                          .column = at.column,
                          .node = node.name});
    else
      remove_leftovers(folder.string());
  }
  return problems;
}

// A run that comes to nothing leaves no empty folder.
void remove_empty(const std::vector<std::string>& folders) {
  std::error_code error;
  for (auto f = folders.rbegin(); f != folders.rend(); ++f) std::filesystem::remove(*f, error);
}

// Sinks whose measures are all there.
std::vector<int> possible(const Results& results, const std::vector<int>& sinks) {
  std::vector<int> out;
  for (int s : sinks)
    if (!results.without[s]) out.push_back(s);
  return out;
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
  Log log;
  if (!c.log.empty())
    if (const auto opened = log.open(c.log); !opened) return say(opened.error()), kMistake;
  if (c.strict && !scene->warnings.empty()) return kMistake;  // Said already.
  std::vector<std::string> folders;
  if (!c.dry_run)
    if (const Problems p = make_folders(*scene, *nodes, frames->front(), folders); !p.empty()) return say(p), kMistake;
  remove_leftovers(std::filesystem::path(stored_stem(scene->graph, "any")).parent_path().string());

  watch_for_stop();
  const auto runner = arena(c.threads);
  const auto start = std::chrono::steady_clock::now();
  log.add("begin", {{"shot", c.shot}, {"frames", frames->size()}, {"scale", c.scale}});
  Json steps = Json::array();
  std::optional<Progress> measuring;
  std::string measured;
  const auto results = measure(*scene, *nodes,
                               {.runner = *runner,
                                .memory_limit = *memory,
                                .reuse = !c.again,
                                .keep_going = c.keep_going,
                                .progress = [&](const std::string& node, int done, int total) {
                                  if (node != measured) measuring.emplace(measured = node, c.json);
                                  measuring->at(done, total);
                                  return !stop_asked();
                                }});
  measuring.reset();
  if (!results) {
    say(results.error());
    log.add("end",
            {{"written", 0}, {"stopped", stop_asked().load()}, {"problems", Json::parse(json_text(results.error()))}});
    remove_empty(folders);
    return stop_asked() ? kStopped : kMistake;
  }
  say(results->remarks);
  say(results->problems);
  for (const MeasuredNode& m : results->done) {
    const std::string& name = scene->graph.nodes[m.node].name;
    steps.push_back({{"node", name}, {"reused", m.reused}, {"seconds", m.seconds}});
    log.add("measured", steps.back());
    if (!c.json)
      fmt::print(stderr, "{}: {} in {:.2f} s\n", name, m.reused ? "stored result reused" : "measured", m.seconds);
  }
  const std::vector<int> sinks = possible(*results, *nodes);
  if (sinks.empty() || (c.strict && !results->remarks.empty())) return remove_empty(folders), kMistake;
  if (c.dry_run) return print_plan(*scene, *results, sinks, *frames), kDone;

  const int at_once = c.threads > 0 ? c.threads : static_cast<int>(std::thread::hardware_concurrency());
  Progress progress("frames", c.json);
  const auto drawing = std::chrono::steady_clock::now();
  const auto delivered = [&](const Delivery& d) {
    const Node& node = scene->graph.nodes[d.sink];
    Json line = {{"node", node.name},
                 {"frame", d.frame},
                 {"file", node.kind->hooks.target(node.params.get(), scene->shot, d.frame)},
                 {"outcome", name(d.outcome)},
                 {"seconds", d.seconds}};
    if (!d.problems.empty()) line["problems"] = Json::parse(json_text(d.problems));
    log.add("file", line);
  };
  const RenderReport report = render(*scene, *results, sinks, *frames,
                                     {.runner = *runner,
                                      .frames_at_once = at_once,
                                      .memory_limit = *memory,
                                      .stop = &stop_asked(),
                                      .reuse = !c.again,
                                      .strict = c.strict,
                                      .progress = [&](int, int done, int total) { progress.at(done, total); },
                                      .delivered = delivered});
  const auto end = std::chrono::steady_clock::now();
  const std::chrono::duration<double> drew = end - drawing, all = end - start;
  const int failures = static_cast<int>(frames->size()) - report.frames;
  const bool failed =
      any_error(report.problems) || any_error(results->problems) || (c.strict && !report.problems.empty());
  Json sum = {{"frames", report.frames},
              {"written", report.written},
              {"kept", report.kept},
              {"stopped", report.stopped},
              {"seconds", all.count()}};
  log.add("end", sum);
  if (c.json) {
    Problems problems = results->problems;
    problems.insert(problems.end(), report.problems.begin(), report.problems.end());
    sum["render_seconds"] = drew.count();
    sum["measured"] = steps;
    sum["problems"] = Json::parse(json_text(problems));
    fmt::print("{}\n", sum.dump());
  } else {
    say(report.problems);
    fmt::print("{} files of {} frames in {:.1f} s ({:.2f} frames/s)", report.written, report.frames, drew.count(),
               report.frames / std::max(1e-9, drew.count()));
    if (report.kept > 0) fmt::print("; {} files were there already", report.kept);
    fmt::print("\n");
    for (int n : *nodes)
      if (results->without[n])
        fmt::print("{} was left out: what it leans on could not be measured\n", scene->graph.nodes[n].name);
    if (report.stopped)
      fmt::print("{} of {} frames are still to be drawn: run it again\n", failures, frames->size());
    else if (failures > 0)
      fmt::print("{} of {} frames failed; see above\n", failures, frames->size());
  }
  return failed ? kSomeFailed : report.stopped ? kStopped : kDone;
}

}  // namespace pw
