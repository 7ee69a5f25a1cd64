#include <fmt/format.h>

#include <algorithm>

#include "comp/graph/file_clash.h"
#include "comp/graph/graph.h"
#include "comp/graph/read_value.h"
#include "comp/graph/shot_table.h"
#include "comp/spec/nearest.h"

namespace pw {

Position Node::where(std::string_view key) const {
  for (const auto& [k, p] : keys)
    if (k == key) return p;
  return at;
}

int Graph::find(std::string_view name) const {
  for (size_t i = 0; i < nodes.size(); ++i)
    if (nodes[i].name == name) return static_cast<int>(i);
  return -1;
}

namespace {

constexpr size_t kMostNodes = 4096;  // What a shot of a person stays far below.

class Checker {
 public:
  Checker(const ShotText& text, Kinds kinds) : text_(text), kinds_(kinds), colours_(names_colours(text)) {
    graph_.file = text.file;
  }

  Result<Checked> run() {
    read_nodes();
    connect();
    require();
    for (size_t i = 0; i < graph_.nodes.size(); ++i)
      if (sound_[i]) apply_rules(i);
    if (any_error(problems_)) return done();
    order();
    if (any_error(problems_)) return done();
    for (Problem& p : file_clashes(graph_)) problems_.push_back(std::move(p));
    read_shot_table(text_, graph_, problems_);
    return done();
  }

 private:
  void say(Position at, const std::string& node, std::string what, std::string remedy) {
    problems_.push_back({.what = std::move(what),
                         .remedy = std::move(remedy),
                         .file = text_.file,
                         .line = at.line,
                         .column = at.column,
                         .node = node});
  }

  void read_nodes() {
    if (text_.entries.size() > kMostNodes)
      return say(text_.entries[kMostNodes].at, "", fmt::format("the shot has more than {} nodes", kMostNodes),
                 "divide it into several shots");
    for (const RawEntry& e : text_.entries) {
      if (e.key == "shot") continue;
      const auto* table = std::get_if<RawTable>(&e.value.value);
      if (!table) {
        say(e.at, "", fmt::format("\"{}\" stands outside any node", e.key),
            "a node is a table with a kind, as in " + e.key + " = { kind = \"footage\", file = \"plate.####.png\" }");
        continue;
      }
      if (e.key.empty() || e.key.find_first_of(". \t\"'") != std::string::npos) {
        say(e.at, e.key, fmt::format("\"{}\" cannot name a node", e.key), "use letters, digits, - and _");
        continue;
      }
      read_node(e, *table);
    }
    if (graph_.nodes.empty() && problems_.empty())
      say({1, 1}, "", "the shot has no node", "see \"platewright kinds\" for what there is");
  }

  void read_node(const RawEntry& e, const RawTable& table) {
    const auto kind_entry = std::find_if(table.begin(), table.end(), [](const RawEntry& x) { return x.key == "kind"; });
    if (kind_entry == table.end())
      return say(e.at, e.key, fmt::format("{} has no kind", e.key), "add kind = \"...\"; see \"platewright kinds\"");
    const auto* kind_name = std::get_if<std::string>(&kind_entry->value.value);
    if (!kind_name)
      return say(kind_entry->value.at, e.key, fmt::format("{}.kind is not a text", e.key), "put it in quotes");
    const Kind* kind = find_kind(kinds_, *kind_name);
    if (!kind) return unknown_kind(e.key, *kind_name, kind_entry->value.at);

    Node node{e.key, kind, nullptr, std::vector<std::vector<Link>>(kind->inputs.size()), e.at, {}};
    const std::shared_ptr<void> params = kind->fresh();
    bool sound = true;
    links_.emplace_back();
    for (const RawEntry& entry : table) {
      if (entry.key == "kind") continue;
      node.keys.emplace_back(entry.key, entry.value.at);
      if (kind->input(entry.key) >= 0) {
        links_.back().push_back(&entry);
      } else if (const Param* p = kind->param(entry.key)) {
        if (auto v = read_value(entry.value, *p, e.key, text_.file, colours_))
          p->set(params.get(), *v);
        else
          for (Problem& problem : v.error())
            problem.node = e.key, problems_.push_back(std::move(problem)), sound = false;
      } else {
        unknown_key(e.key, *kind, entry);
      }
    }
    node.params = params;
    sound_.push_back(sound);
    graph_.nodes.push_back(std::move(node));
  }

  void unknown_kind(const std::string& node, const std::string& name, Position at) {
    const std::string what = fmt::format("{}: there is no kind \"{}\"", node, name);
    std::vector<std::string> names;
    for (const Kind& k : kinds_) {
      names.emplace_back(k.name);
      if (std::find(k.also.begin(), k.also.end(), name) != k.also.end())
        return say(at, node, what, fmt::format("{} does this: {}", k.name, k.doc));
    }
    const std::string meant = nearest(name, names);
    say(at, node, what, meant.empty() ? "\"platewright kinds\" lists them" : fmt::format("did you mean {}?", meant));
  }

  void unknown_key(const std::string& node, const Kind& kind, const RawEntry& entry) {
    std::vector<std::string> names;
    for (const Input& i : kind.inputs) names.emplace_back(i.name);
    for (const Param& p : kind.params) names.emplace_back(p.name);
    const std::string meant = nearest(entry.key, names);
    say(entry.at, node, fmt::format("{} ({}) has no \"{}\"", node, kind.name, entry.key),
        meant.empty() ? fmt::format("\"platewright kinds {}\" lists what it takes", kind.name)
                      : fmt::format("did you mean {}?", meant));
  }

  void connect() {
    for (size_t n = 0; n < graph_.nodes.size(); ++n)
      for (const RawEntry* entry : links_[n]) {
        Node& node = graph_.nodes[n];
        const int index = node.kind->input(entry->key);
        const Input& input = node.kind->inputs[index];
        if (std::holds_alternative<std::string>(entry->value.value)) {
          link(node, index, entry->value);
        } else if (const auto* list = std::get_if<RawList>(&entry->value.value); list && input.list) {
          for (const Raw& item : *list) link(node, index, item);
        } else {
          say(entry->value.at, node.name, fmt::format("{}.{} does not name a node", node.name, input.name),
              input.list ? "write a node's name in quotes, or a list of them" : "write one node's name in quotes");
        }
      }
  }

  void link(Node& node, int index, const Raw& raw) {
    const Input& input = node.kind->inputs[index];
    const auto* text = std::get_if<std::string>(&raw.value);
    if (!text)
      return say(raw.at, node.name, fmt::format("{}.{} does not name a node", node.name, input.name),
                 "write a node's name in quotes");
    const size_t dot = text->find('.');
    const std::string target = text->substr(0, dot), output = dot == std::string::npos ? "" : text->substr(dot + 1);
    const int found = graph_.find(target);
    if (found < 0) {
      std::vector<std::string> names;
      for (const Node& other : graph_.nodes)
        if (other.name != node.name) names.push_back(other.name);
      // A node whose own table was wrong is not there; its mistake is told at its place.
      for (const RawEntry& e : text_.entries)
        if (e.key == target && target != "shot") return;
      const std::string meant = nearest(target, names);
      return say(raw.at, node.name, fmt::format("{}.{} names \"{}\", which is no node", node.name, input.name, target),
                 meant.empty() ? "name a node of this file" : fmt::format("did you mean {}?", meant));
    }
    const Kind& kind = *graph_.nodes[found].kind;
    const int out = kind.outputs.empty() ? -1 : kind.output(output);
    if (out < 0) {
      if (kind.outputs.empty())
        return say(raw.at, node.name, fmt::format("{}.{} names {}, which gives nothing", node.name, input.name, target),
                   fmt::format("{} ends a line; name the node before it", with_article(kind.name)));
      std::vector<std::string> names;
      for (const Output& o : kind.outputs) names.emplace_back(o.name);
      return say(raw.at, node.name, fmt::format("{} ({}) has no output \"{}\"", target, kind.name, output),
                 fmt::format("it has {}", fmt::join(names, ", ")));
    }
    const Flow flow = kind.outputs[out].flow;
    if (!fits(flow, input.flow)) return wrong_flow(node, input, *text, flow, raw.at);
    node.inputs[index].push_back({found, out});
  }

  void wrong_flow(const Node& node, const Input& input, const std::string& offered, Flow flow, Position at) {
    std::vector<std::string> fitting;
    for (const Kind& k : kinds_)
      for (const Output& o : k.outputs)
        if (fits(o.flow, input.flow) && std::find(fitting.begin(), fitting.end(), k.name) == fitting.end())
          fitting.emplace_back(k.name);
    say(at, node.name,
        fmt::format("{}.{} takes {}, but {} gives {}", node.name, input.name, with_article(name(input.flow)), offered,
                    with_article(name(flow))),
        fmt::format("what gives {}: {}", with_article(name(input.flow)), fmt::join(fitting, ", ")));
  }

  void require() {
    for (size_t n = 0; n < graph_.nodes.size(); ++n) {
      const Node& node = graph_.nodes[n];
      auto stands = [&](std::string_view key) {
        return std::any_of(node.keys.begin(), node.keys.end(), [&](const auto& k) { return k.first == key; });
      };
      for (const Input& input : node.kind->inputs)
        if (input.required && !stands(input.name))
          say(node.at, node.name, fmt::format("{} has no {}", node.name, input.name),
              fmt::format("{} needs {} there: {} = \"NODE\"", with_article(node.kind->name),
                          with_article(name(input.flow)), input.name));
      for (const Param& p : node.kind->params)
        if (p.say.required && !stands(p.name))
          say(node.at, node.name, fmt::format("{} has no {}", node.name, p.name),
              fmt::format("{} needs it: {} = {}", with_article(node.kind->name), p.name, p.say.example));
    }
  }

  void apply_rules(size_t n) {
    const Node& node = graph_.nodes[n];
    const Given given = [&](std::string_view key) {
      return std::any_of(node.keys.begin(), node.keys.end(), [&](const auto& k) { return k.first == key; });
    };
    for (const auto& rule : node.kind->rules)
      if (const auto c = rule(node.params.get(), given))
        say(node.where(c->key), node.name,
            fmt::format("{}{} {}", node.name, c->key.empty() ? "" : fmt::format(".{}", c->key), c->what), c->remedy);
  }

  // Topological order that keeps the order of the file where it can.
  void order() {
    const size_t count = graph_.nodes.size();
    std::vector<int> place(count, -1);
    std::vector<size_t> sorted;
    for (bool moved = true; moved;) {
      moved = false;
      for (size_t n = 0; n < count; ++n) {
        if (place[n] >= 0) continue;
        bool ready = true;
        for (const auto& input : graph_.nodes[n].inputs)
          for (const Link& l : input) ready = ready && place[l.node] >= 0;
        if (ready) place[n] = static_cast<int>(sorted.size()), sorted.push_back(n), moved = true;
      }
    }
    if (sorted.size() < count) return tell_cycle(place);
    std::vector<Node> nodes;
    for (size_t n : sorted) nodes.push_back(std::move(graph_.nodes[n]));
    for (Node& node : nodes)
      for (auto& input : node.inputs)
        for (Link& l : input) l.node = place[l.node];
    graph_.nodes = std::move(nodes);
  }

  void tell_cycle(const std::vector<int>& place) {
    // From any node that is not placed, following unplaced inputs must come back to a node seen before.
    std::vector<int> path;
    std::vector<std::string> through;
    int n = static_cast<int>(std::find(place.begin(), place.end(), -1) - place.begin());
    while (std::find(path.begin(), path.end(), n) == path.end()) {
      path.push_back(n);
      const Node& node = graph_.nodes[n];
      for (size_t i = 0; i < node.inputs.size() && through.size() < path.size(); ++i)
        for (const Link& l : node.inputs[i])
          if (place[l.node] < 0) {
            through.push_back(fmt::format("{}.{}", node.name, node.kind->inputs[i].name));
            n = l.node;
            break;
          }
    }
    const auto start = std::find(path.begin(), path.end(), n) - path.begin();
    std::string round;
    bool ignores = false;
    std::string outline;
    for (size_t i = start; i < path.size(); ++i) {
      round += through[i] + " -> ";
      const Node& node = graph_.nodes[path[i]];
      ignores = ignores || (node.kind->name == "plane" && through[i] == node.name + ".ignore");
      if (node.kind->outputs[0].flow == Flow::outline) outline = node.name;
    }
    const Node& first = graph_.nodes[n];
    say(first.where(through[start].substr(first.name.size() + 1)), first.name,
        fmt::format("{} needs itself: {}{}", first.name, round, first.name),
        !ignores          ? "take one of these connections out"
        : outline.empty() ? "track a rough plane first without ignore, make what is ignored with that one, then track "
                            "the fine plane that ignores it"
                          : fmt::format("track a rough plane first without ignore, let the outline {} follow that one, "
                                        "then track the fine plane that ignores the outline",
                                        outline));
  }

  Result<Checked> done() {
    std::stable_sort(problems_.begin(), problems_.end(), [](const Problem& a, const Problem& b) {
      return std::pair(a.line, a.column) < std::pair(b.line, b.column);
    });
    if (any_error(problems_)) return fail(std::move(problems_));
    return Checked{std::move(graph_), std::move(problems_)};
  }

  const ShotText& text_;
  Kinds kinds_;
  bool colours_;  // Names beyond the choices are looked up when files are.
  Graph graph_;
  std::vector<std::vector<const RawEntry*>> links_;
  std::vector<bool> sound_;  // Every parameter could be read.
  Problems problems_;
};

}  // namespace

Result<Checked> check(const ShotText& text, Kinds kinds) { return Checker(text, kinds).run(); }

}  // namespace pw
