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

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

// The frames asked for with --frames, or the whole shot.
Result<std::vector<int>> frames_of(const RenderCommand& c, const Shot& shot) {
  std::vector<int> frames;
  if (!c.frames_given) {
    for (int f = shot.first; f <= shot.last; ++f) frames.push_back(f);
    return frames;
  }
  const std::string file = "--frames " + c.frames;
  auto parsed = parse_frames(c.frames);
  if (!parsed) {
    for (Problem& p : parsed.error()) p.file = file;
    return parsed;
  }
  for (int f : *parsed)
    if (f < shot.first || f > shot.last)
      return fail(Problem{.what = fmt::format("frame {} is outside the shot", f),
                          .remedy = fmt::format("it has frames {} to {}", shot.first, shot.last),
                          .file = file});
  return parsed;
}

// The folders files go into, made where they are missing. A run that comes to nothing leaves none of those it made.
class Folders {
 public:
  // Before the first frame, so that a closed one is told at once. What a killed run left half-written is taken away.
  Problems make(const Scene& scene, const std::vector<int>& sinks, int frame) {
    Problems problems;
    for (int s : sinks) {
      const Node& node = scene.graph.nodes[s];
      const fs::path file = node.kind->hooks.target(node.params.get(), scene.shot, frame), folder = file.parent_path();
      std::vector<fs::path> missing;
      for (fs::path f = folder; !f.empty() && !fs::exists(f); f = f.parent_path()) missing.push_back(f);
      std::error_code error;
      if (!folder.empty()) fs::create_directories(folder, error);
      made_.insert(made_.end(), missing.rbegin(), missing.rend());
      const Position at = node.where("file");
      auto tell = [&](std::string what, std::string remedy) {
        problems.push_back({.what = std::move(what),
                            .remedy = std::move(remedy),
                            .file = scene.graph.file,
                            .line = at.line,
                            .column = at.column,
                            .node = node.name});
      };
      if (error) {
        tell(fmt::format("the folder {} cannot be made ({})", folder.string(), error.message()),
             error == std::errc::not_a_directory || error == std::errc::file_exists
                 ? "a file has its name: deliver elsewhere"
                 : "make its parent writable or deliver elsewhere");
      } else if (const auto open = check_writable(file.string()); !open) {
        tell(open.error()[0].what, open.error()[0].remedy);
      } else {
        remove_leftovers(folder.string());
      }
    }
    return problems;
  }
  void remove_empty() const {
    std::error_code error;
    for (auto f = made_.rbegin(); f != made_.rend(); ++f) fs::remove(*f, error);
  }

 private:
  std::vector<fs::path> made_;
};

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

// What one run comes to, for the log and for scripts.
struct Sum {
  Json fields = {{"frames", 0}, {"written", 0}, {"kept", 0}, {"failed", 0}};
  Json measured = Json::array();
  Problems problems;
};

class Run {
 public:
  Run(const RenderCommand& c, const Log& log, Sum& sum) : c_(c), log_(log), sum_(sum) {}

  int all() {
    const auto memory = memory_limit(c_.memory);
    if (!memory) return kMistake;
    scene_ = open_shot(c_, c_.scale, &sum_.problems);
    if (!scene_) return kMistake;
    if (c_.strict && !sum_.problems.empty()) return strict_end();
    const auto nodes = nodes_named(*scene_, c_.nodes);
    if (!nodes) return kMistake;
    if (const Problems p = no_delivery(*nodes); !p.empty()) return told(p, kMistake);
    const auto frames = frames_of(c_, scene_->shot);
    if (!frames) return told(frames.error(), kMistake);
    Folders folders;
    if (!c_.dry_run)
      if (const Problems p = folders.make(*scene_, *nodes, frames->front()); !p.empty()) {
        folders.remove_empty();
        return told(p, kMistake);
      }
    remove_leftovers(fs::path(stored_stem(scene_->graph, "any")).parent_path().string());
    watch_for_stop();
    const auto runner = arena(c_.threads);
    const int status = measured_and_drawn(*nodes, *frames, *runner, *memory);
    tell_loads();
    if (sum_.fields["written"] == 0 && sum_.fields["kept"] == 0) folders.remove_empty();
    return status;
  }

 private:
  int told(const Problems& problems, int status) {
    say(problems);
    sum_.problems.insert(sum_.problems.end(), problems.begin(), problems.end());
    return status;
  }

  static int strict_end() {
    fmt::print(stderr, "nothing is drawn, because with --strict a warning ends the run\n");
    return kMistake;
  }

  // What reading frames warned of, once.
  bool tell_loads() {
    if (!loads_told_) told(loads_.all(), 0);
    return loads_told_ = loads_.any();
  }

  Problems no_delivery(const std::vector<int>& nodes) const {
    if (nodes.empty())
      return {{.what = "the shot delivers nothing",
               .remedy = "add a deliver node: see \"platewright kinds deliver\"",
               .file = c_.shot}};
    for (int n : nodes)
      if (scene_->graph.nodes[n].kind->family != Family::sink)
        return {{.what = fmt::format("{} is no delivery", scene_->graph.nodes[n].name),
                 .remedy = "name a deliver node, or none to render them all",
                 .file = scene_->graph.file}};
    return {};
  }

  int measured_and_drawn(const std::vector<int>& nodes, const std::vector<int>& frames, const Runner& runner,
                         int64_t memory) {
    std::optional<Progress> progress;
    std::string now;
    const auto results = measure(*scene_, nodes,
                                 {.runner = runner,
                                  .memory_limit = memory,
                                  .reuse = !c_.again,
                                  .keep_going = c_.keep_going,
                                  .progress =
                                      [&](const std::string& node, int done, int total) {
                                        if (node != now) progress.emplace(now = node, c_.json);
                                        progress->at(done, total);
                                        return !stop_asked();
                                      },
                                  .measured = [&](const MeasuredNode& m) { tell_measured(m); },
                                  .loads = &loads_});
    progress.reset();
    if (!results && stop_asked()) {
      fmt::print(stderr, "stopped while {} was measured; run it again: what is measured already is used\n", now);
      return kStopped;
    }
    if (!results) return told(results.error(), kMistake);
    told(results->remarks, 0);
    told(results->problems, 0);
    std::vector<int> sinks;
    for (int n : nodes)
      if (!results->without[n])
        sinks.push_back(n);
      else
        fmt::print(stderr, "{} is left out: what it leans on could not be measured\n", scene_->graph.nodes[n].name);
    if (sinks.empty()) return kMistake;
    if (c_.strict && (tell_loads() || !results->remarks.empty())) return strict_end();
    if (c_.dry_run) return print_plan(*scene_, *results, sinks, frames), kDone;
    const int status = drawn(*results, sinks, frames, runner, memory);
    return results->problems.empty() ? status : std::max(status, kSomeFailed);
  }

  void tell_measured(const MeasuredNode& m) {
    const std::string& name = scene_->graph.nodes[m.node].name;
    sum_.measured.push_back({{"node", name}, {"reused", m.reused}, {"seconds", m.seconds}});
    log_.add("measured", sum_.measured.back());
    if (!c_.json)
      fmt::print(stderr, "{}: {} in {:.2f} s\n", name, m.reused ? "stored result reused" : "measured", m.seconds);
  }

  int drawn(const Results& results, const std::vector<int>& sinks, const std::vector<int>& frames, const Runner& runner,
            int64_t memory) {
    Progress progress("frames", c_.json);
    const auto start = std::chrono::steady_clock::now();
    int failed_files = 0, visited = 0;
    const auto delivered = [&](const Delivery& d) {
      const Node& node = scene_->graph.nodes[d.sink];
      failed_files += d.outcome == Outcome::failed;
      Json line = {{"node", node.name},
                   {"frame", d.frame},
                   {"file", node.kind->hooks.target(node.params.get(), scene_->shot, d.frame)},
                   {"outcome", name(d.outcome)},
                   {"seconds", d.seconds}};
      if (!d.problems.empty()) line["problems"] = Json::parse(json_text(d.problems));
      log_.add("file", line);
    };
    const RenderReport report =
        render(*scene_, results, sinks, frames,
               {.runner = runner,
                .frames_at_once = c_.threads > 0 ? c_.threads : static_cast<int>(std::thread::hardware_concurrency()),
                .memory_limit = memory,
                .stop = &stop_asked(),
                .reuse = !c_.again,
                .strict = c_.strict,
                .progress = [&](int, int done, int total) { progress.at(visited = done, total); },
                .delivered = delivered,
                .loads = &loads_});
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
    sum_.fields = {{"frames", report.frames},
                   {"written", report.written},
                   {"kept", report.kept},
                   {"failed", failed_files},
                   {"render_seconds", took.count()}};
    told(report.problems, 0);
    const bool warned = tell_loads();
    if (!c_.json) {
      fmt::print("{} files of {} frames in {:.1f} s ({:.2f} frames/s)", report.written, frames.size(), took.count(),
                 visited / std::max(1e-9, took.count()));
      if (report.kept > 0) fmt::print("; {} files were there already", report.kept);
      fmt::print("\n");
      if (const int bad = visited - report.frames; bad > 0)
        fmt::print("{} of {} frames failed; see above\n", bad, frames.size());
      if (report.given_up) fmt::print("ended at the first problem, because of --strict\n");
      if (report.stopped) fmt::print("stopped; run it again to draw the rest\n");
    }
    const bool failed = any_error(report.problems) || (c_.strict && (warned || !report.problems.empty()));
    return failed ? kSomeFailed : report.stopped ? kStopped : kDone;
  }

  const RenderCommand& c_;
  const Log& log_;
  Sum& sum_;
  std::optional<Scene> scene_;
  LoadWarnings loads_;
  bool loads_told_ = false;
};

}  // namespace

int run(const RenderCommand& c) {
  Log log;
  if (c.log_given)
    if (const auto opened = log.open(c.log); !opened) return say(opened.error()), kMistake;
  log.add("begin", {{"shot", c.shot}});
  const auto start = std::chrono::steady_clock::now();
  Sum sum;
  const int status = Run(c, log, sum).all();
  const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
  Json end = {{"status", status}};
  end.update(sum.fields);
  end["seconds"] = took.count();
  log.add("end", end);
  if (c.json && !c.dry_run) {
    end["measured"] = sum.measured;
    end["problems"] = Json::parse(json_text(sum.problems));
    fmt::print("{}\n", end.dump());
  }
  return status;
}

}  // namespace pw
