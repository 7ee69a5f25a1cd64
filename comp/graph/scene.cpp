#include "comp/graph/scene.h"

#include <fmt/format.h>

#include <cmath>

namespace pw {
namespace {

constexpr int64_t kMostFrames = 1000000;  // A stray file with a date in its name makes more.

// A problem with a name that a parameter holds: told at its place, unless it is with the shot's own configuration, and
// then once.
void add_name_problem(Problems& problems, Problem p, const Graph& g, const Node& node, std::string_view key) {
  const bool of_shot = p.node == "shot";
  if (!of_shot) p.node = node.name;
  if (p.file.empty()) {
    const Position at = of_shot ? g.shot_at : node.where(key);
    if (!of_shot) p.what = fmt::format("{}.{} {}", node.name, key, p.what);
    p.file = g.file, p.line = at.line, p.column = at.column;
  }
  for (const Problem& other : problems)
    if (other.what == p.what && other.file == p.file && other.line == p.line) return;
  problems.push_back(std::move(p));
}

// What texts beyond the choices stand for, into scene.named and scene.shot.
void look_up_names(Scene& scene, Problems& problems) {
  const Graph& g = scene.graph;
  scene.named.resize(g.nodes.size());
  bool any_named = false;
  for (size_t n = 0; n < g.nodes.size(); ++n)
    for (const Param& p : g.nodes[n].kind->params) {
      const auto text = beyond_choices(p, p.get(g.nodes[n].params.get()));
      if (!text) continue;
      any_named = true;
      auto identity = p.say.beyond(*text, scene.shot);
      if (identity) {
        scene.named[n] += *identity;
        continue;
      }
      for (Problem& problem : identity.error()) add_name_problem(problems, std::move(problem), g, g.nodes[n], p.name);
    }
  if (g.ocio_at && !any_named)
    problems.push_back({.what = "shot.ocio names a configuration, but no node names a space of it",
                        .remedy = "name one, as in encoding = \"...\", or take it out",
                        .file = g.file,
                        .line = g.ocio_at->line,
                        .column = g.ocio_at->column,
                        .node = "shot",
                        .severity = Severity::warning});
}

}  // namespace

Rect active_part(const Survey& files, const Shot& shot) {
  const Rect& a = files.active;
  if (a.empty()) return kEverywhere;
  const auto after = [&](int v) { return static_cast<int>(std::ceil(shot.px(v) - 1e-9)); };
  const auto before = [&](int v) { return static_cast<int>(std::floor(shot.px(v) + 1e-9)); };
  return {after(a.x0), after(a.y0), before(a.x1), before(a.y1)};
}

std::vector<bool> upstream(const Graph& graph, const std::vector<int>& nodes) {
  std::vector<bool> in(graph.nodes.size());
  for (int n : nodes) in[n] = true;
  for (size_t n = graph.nodes.size(); n-- > 0;)
    if (in[n])
      for (const auto& input : graph.nodes[n].inputs)
        for (const Link& l : input) in[l.node] = true;
  return in;
}

std::vector<bool> fixed_nodes(const Graph& graph) {
  std::vector<bool> fixed(graph.nodes.size());
  for (size_t n = 0; n < graph.nodes.size(); ++n) {
    const Node& node = graph.nodes[n];
    if (node.kind->family == Family::bake) fixed[n] = true;
    if (node.kind->family != Family::maker || node.kind->restless) continue;
    bool still = true;
    for (const auto& input : node.inputs)
      for (const Link& l : input)
        still = still && (fixed[l.node] || graph.nodes[l.node].kind->outputs[l.output].flow == Flow::noise);
    for (const Param& p : node.kind->params)
      if (const Value v = p.get(node.params.get()); const auto* a = std::get_if<Animated>(&v))
        still = still && a->keys.empty();
    fixed[n] = still;
  }
  return fixed;
}

std::vector<int> still_origins(const Graph& graph, const std::vector<bool>& fixed) {
  std::vector<int> origin(graph.nodes.size(), -1);
  for (size_t n = 0; n < graph.nodes.size(); ++n) {
    if (!fixed[n]) continue;
    if (graph.nodes[n].kind->family == Family::bake) origin[n] = static_cast<int>(n);
    for (const auto& input : graph.nodes[n].inputs)
      for (const Link& l : input)
        if (origin[n] < 0) origin[n] = origin[l.node];
  }
  return origin;
}

Result<Scene> survey(Graph graph, double scale) {
  Scene scene{std::move(graph), {}, {}, {}, {}};
  Graph& g = scene.graph;
  Shot& shot = scene.shot = g.given;
  shot.scale = scale;
  scene.surveys.resize(g.nodes.size());
  Problems problems;
  auto at_node = [&](Problem p, const Node& node, std::string_view key) {
    if (p.node.empty()) p.node = node.name;
    // What is wrong with a file is told under the file's own name; everything else where it stands in the shot.
    if (p.file.empty()) {
      const Position at = node.where(key);
      p.file = g.file, p.line = at.line, p.column = at.column;
    }
    return p;
  };
  look_up_names(scene, problems);
  if (any_error(problems)) return fail(std::move(problems));
  const int like = g.find(g.like);
  const auto look = [&](int n) {
    const Node& node = g.nodes[n];
    if (!node.kind->hooks.survey) return;
    auto s = node.kind->hooks.survey(node.params.get(), shot);
    Problems& told = s ? s->warnings : s.error();
    for (Problem& p : told) problems.push_back(at_node(std::move(p), node, "file"));
    if (s) scene.surveys[n] = std::move(*s);
  };
  // What the shot is like comes first: footage of varying rate is cut into frames at the shot's, tracks are of its
  // size.
  if (like >= 0) look(like);
  if (like >= 0 && scene.surveys[like]) {
    const Survey& s = *scene.surveys[like];
    if (shot.rate == 0) shot.rate = s.rate;
    if (shot.width == 0) shot.width = s.width, shot.height = s.height;
    if (!g.frames_given) shot.first = s.first, shot.last = s.last;
    if (shot.first == s.first) shot.timecode = s.timecode;
  }
  if (shot.rate == 0) shot.rate = 24;
  for (int n = 0; n < static_cast<int>(g.nodes.size()); ++n)
    if (n != like) look(n);
  if (any_error(problems)) return fail(std::move(problems));

  for (int n = 0; n < static_cast<int>(g.nodes.size()); ++n)
    if (const auto& s = scene.surveys[n]; s && s->rate > 0 && std::abs(s->rate / shot.rate - 1) > 1e-4)
      problems.push_back(
          at_node({.what = fmt::format("{} runs at {:.6g} frames a second and the shot at {:.6g}; its frames "
                                       "are taken one for one",
                                       g.nodes[n].name, s->rate, shot.rate),
                   .remedy = "give the shot that rate, or change the movie's first",
                   .severity = Severity::warning},
                  g.nodes[n], "file"));
  if (shot.last - int64_t{shot.first} >= kMostFrames) {
    const Position at = g.shot_at.line ? g.shot_at : Position{1, 1};
    return fail(
        Problem{.what = fmt::format("the shot has the frames {} to {}, more than a million", shot.first, shot.last),
                .remedy = "say which are meant, as in shot = { frames = [1, 48] }",
                .file = g.file,
                .line = at.line,
                .column = at.column,
                .node = "shot"});
  }
  for (size_t n = 0; n < g.nodes.size(); ++n)
    for (const auto& rule : g.nodes[n].kind->fits_shot)
      if (const auto c = rule(g.nodes[n].params.get(), shot))
        problems.push_back(
            at_node({.what = fmt::format("{}.{} {}", g.nodes[n].name, c->key, c->what), .remedy = c->remedy},
                    g.nodes[n], c->key));
  if (any_error(problems)) return fail(std::move(problems));
  scene.warnings = std::move(problems);
  return scene;
}

}  // namespace pw
