#include "comp/graph/measure.h"

#include <fmt/format.h>

#include <chrono>
#include <filesystem>

#include "base/pool.h"
#include "comp/graph/draw.h"
#include "comp/graph/key.h"

namespace pw {

std::string stored_stem(const Graph& graph, const std::string& node) {
  const std::filesystem::path shot(graph.file);
  return (shot.parent_path() / (shot.stem().string() + ".measured") / node).string();
}

namespace {

Result<Measured> run(const Stage& stage, int n, Kept& kept, const MeasureOptions& options, bool& stopped,
                     Problems& warned) {
  const Node& node = stage.scene.graph.nodes[n];
  const auto inputs = stage.connections(n, stage.scene.shot.first);
  const Measuring measuring{stage.scene.shot,
                            inputs,
                            [&](int input, int item, int frame) -> Result<Picture> {
                              const Link& l = node.inputs[input][item];
                              const Rect whole = stage.scene.shot.canvas();
                              auto drawn =
                                  draw({.stage = stage, .runner = options.runner, .kept = kept, .loads = options.loads},
                                       make_plan(stage, {{l.node, l.output, frame, whole}}));
                              if (!drawn) return fail(drawn.error());
                              return std::move((*drawn)[0]);
                            },
                            options.runner,
                            [&](int done, int total) {
                              stopped = stopped || (options.progress && !options.progress(node.name, done, total));
                              return !stopped;
                            },
                            [&](Problem p) {
                              p.node = node.name;
                              warned.push_back(std::move(p));
                            }};
  auto result = node.kind->hooks.measure(node.params.get(), measuring);
  if (result) return result;
  for (Problem& p : result.error()) {
    if (p.node.empty()) p.node = node.name;
    if (p.file.empty()) p.file = stage.scene.graph.file, p.line = node.at.line, p.column = node.at.column;
  }
  return result;
}

Result<void> store(const Graph& graph, const Node& node, const Measured& m, const std::string& key) {
  if (!node.kind->hooks.save) return {};
  const std::string stem = stored_stem(graph, node.name);
  std::error_code error;
  std::filesystem::create_directories(std::filesystem::path(stem).parent_path(), error);
  if (error)
    return fail(Problem{.what = fmt::format("the folder for measured results cannot be made ({})", error.message()),
                        .remedy = "make the shot file's folder writable",
                        .file = std::filesystem::path(stem).parent_path().string()});
  return node.kind->hooks.save(m, stem, key);
}

// What takes a bent motion for a straight one.
void tell_of_bent(const Graph& graph, const std::vector<bool>& needed, const std::vector<Measured>& measured,
                  Problems& remarks) {
  for (size_t n = 0; n < graph.nodes.size(); ++n) {
    const Node& node = graph.nodes[n];
    if (!needed[n]) continue;
    for (size_t i = 0; i < node.inputs.size(); ++i)
      for (const Link& l : node.inputs[i]) {
        const Motion* motion = std::get_if<Motion>(&measured[l.node]);
        if (node.kind->inputs[i].bent || !motion || !motion->bent()) continue;
        remarks.push_back({.what = fmt::format("{} takes {} as if nothing bent it: neither lens nor readout", node.name,
                                               graph.nodes[l.node].name),
                           .remedy = "look at it near the picture's edges; pin alone follows what bends",
                           .file = graph.file,
                           .line = node.at.line,
                           .column = node.at.column,
                           .node = node.name,
                           .severity = Severity::warning});
      }
  }
}

}  // namespace

Result<Results> measure(const Scene& full, const std::vector<int>& wanted, const MeasureOptions& options) {
  Scene scene{full.graph, full.shot, full.surveys, full.named, {}};
  scene.shot.scale = 1;  // Measures always look at full-size frames.
  const Graph& graph = scene.graph;
  const std::vector<bool> needed = upstream(graph, wanted);
  const std::vector<std::string> keys = cache_keys(scene);
  Results results{std::vector<Measured>(graph.nodes.size()), {}, {}, std::vector<bool>(graph.nodes.size()), {}};
  Kept kept(options.memory_limit / 4);
  for (size_t n = 0; n < graph.nodes.size(); ++n) {
    const Node& node = graph.nodes[n];
    for (const auto& input : node.inputs)
      for (const Link& l : input)
        if (results.without[l.node]) results.without[n] = true;
    if (!needed[n] || results.without[n]) continue;
    if (node.kind->family != Family::measure && node.kind->family != Family::bake) continue;
    const auto start = std::chrono::steady_clock::now();
    bool reused = false;
    if (options.reuse && node.kind->hooks.recall)
      if (auto stored = node.kind->hooks.recall(stored_stem(graph, node.name), keys[n]))
        results.measured[n] = std::move(*stored), reused = true;
    if (!reused) {
      bool stopped = false;
      auto m = run(Stage(scene, results.measured), static_cast<int>(n), kept, options, stopped, results.remarks);
      if (!m && options.keep_going && !stopped) {
        results.without[n] = true;
        results.problems.insert(results.problems.end(), m.error().begin(), m.error().end());
        continue;
      }
      if (!m) return fail(m.error());
      drop_spare_buffers();  // Storing and what comes next need others.
      if (auto s = store(graph, node, *m, keys[n]); !s) return fail(s.error());
      results.measured[n] = std::move(*m);
    }
    drop_spare_buffers();
    if (node.kind->hooks.remarks)
      for (Problem p : node.kind->hooks.remarks(results.measured[n])) {
        p.node = node.name, p.file = graph.file, p.line = node.at.line, p.column = node.at.column;
        p.what = node.name + ": " + p.what;
        results.remarks.push_back(std::move(p));
      }
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
    results.done.push_back({static_cast<int>(n), reused, took.count()});
    if (options.measured) options.measured(results.done.back());
  }
  tell_of_bent(graph, needed, results.measured, results.remarks);
  return results;
}

}  // namespace pw
