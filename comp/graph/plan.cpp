#include "comp/graph/plan.h"

#include <algorithm>
#include <tuple>

namespace pw {

Stage::Stage(const Scene& s, const std::vector<Measured>& m) : scene(s), measured(m), fixed(fixed_nodes(s.graph)) {
  origin = still_origins(s.graph, fixed);
  for (size_t n = 0; n < s.graph.nodes.size(); ++n) {
    const Node& node = s.graph.nodes[n];
    bool ready = !node.kind->hooks.measure || !std::holds_alternative<std::monostate>(m[n]);
    for (const auto& input : node.inputs)
      for (const Link& l : input) ready = ready && ready_[l.node];
    ready_.push_back(ready);
  }
}

std::vector<std::vector<Connection>> Stage::connections(int n, int frame) const { return connect(n, *extents(frame)); }

std::vector<std::vector<Connection>> Stage::connect(int n, const Extents& extents) const {
  std::vector<std::vector<Connection>> all;
  for (const auto& input : scene.graph.nodes[n].inputs) {
    all.emplace_back();
    for (const Link& l : input) {
      const Node& from = scene.graph.nodes[l.node];
      Connection c{from.name, nullptr, nullptr, fixed[l.node], {}};
      if (has_pixels(from.kind->outputs[l.output].flow))
        c.extent = extents[l.node];
      else
        c.measured = &measured[l.node];
      if (origin[l.node] >= 0) c.still = std::get_if<Still>(&measured[origin[l.node]]);
      all.back().push_back(std::move(c));
    }
  }
  return all;
}

std::shared_ptr<const Stage::Extents> Stage::extents(int frame) const {
  {
    std::lock_guard lock(mutex_);
    if (const auto it = known_.find(frame); it != known_.end()) return it->second;
  }
  const auto all = std::make_shared<Extents>(scene.graph.nodes.size());
  for (size_t n = 0; n < all->size(); ++n) {
    if (!ready_[n]) continue;  // What is not measured yet is not asked.
    const Node& node = scene.graph.nodes[n];
    const Hooks& hooks = node.kind->hooks;
    if (node.kind->family == Family::source) {
      const Survey& s = *scene.surveys[n];
      Shot own = scene.shot;
      own.width = s.width, own.height = s.height;
      const Rect whole =
          s.windows_vary && hooks.window ? hooks.window(node.params.get(), scene.shot, s, frame) : own.canvas();
      (*all)[n] = intersect(whole, active_part(s, scene.shot));
      continue;
    }
    const auto inputs = connect(static_cast<int>(n), *all);
    if (hooks.extent) {
      (*all)[n] = hooks.extent(node.params.get(),
                               Ask{scene.shot, frame, {}, 0, inputs, &measured[n], files(static_cast<int>(n))});
      continue;
    }
    for (const auto& input : inputs)
      for (const Connection& c : input)
        if (!c.measured) (*all)[n] = unite((*all)[n], c.extent);
  }
  std::lock_guard lock(mutex_);
  if (known_.size() > 4096) known_.clear();
  return known_[frame] = all;
}

Plan make_plan(const Stage& stage, const std::vector<Want>& wants) {
  const Graph& graph = stage.scene.graph;
  // Demands on each (node, output, frame), united; filled from the end of the graph to its start, so that every
  // rectangle is final when its own demands are made.
  using Key = std::tuple<int, int, int>;
  std::map<Key, Rect, std::greater<>> open;
  std::map<Key, size_t> step_of;
  std::vector<std::pair<Key, std::vector<std::pair<Read, Key>>>> backwards;

  auto demand = [&](int node, int output, int frame, Rect rect) {
    frame = stage.steady_frame(node, frame);
    const Rect extent = (*stage.extents(frame))[node];
    // A picture that stays is drawn whole, once.
    rect = stage.fixed[node] && extent != kEverywhere ? extent : intersect(rect, extent);
    const Key key{node, output, frame};
    auto [it, added] = open.emplace(key, rect);
    if (!added) it->second = unite(it->second, rect);
    return key;
  };

  std::vector<Key> wanted;
  for (const Want& w : wants) wanted.push_back(demand(w.node, w.output, w.frame, w.rect));
  // Inputs stand before their users in the graph, so the largest key is never demanded again.
  for (auto it = open.begin(); it != open.end(); ++it) {
    const auto [n, output, frame] = it->first;
    const Node& node = graph.nodes[n];
    std::vector<std::pair<Read, Key>> reads;
    if (node.kind->hooks.make) {
      const auto inputs = stage.connections(n, frame);
      const Ask ask{stage.scene.shot, frame, it->second, output, inputs, &stage.measured[n], stage.files(n)};
      std::vector<Demand> demands;
      if (node.kind->hooks.needs) {
        demands = node.kind->hooks.needs(node.params.get(), ask);
      } else if (node.kind->family == Family::maker) {
        for (size_t i = 0; i < inputs.size(); ++i)
          for (size_t j = 0; j < inputs[i].size(); ++j)
            if (!inputs[i][j].measured) demands.push_back({int(i), int(j), frame, it->second});
      }
      for (const Demand& d : demands) {
        const Link& l = node.inputs[d.input][d.item];
        reads.push_back({Read{d.input, d.item, d.frame, 0}, demand(l.node, l.output, d.frame, d.rect)});
      }
    }
    backwards.emplace_back(it->first, std::move(reads));
  }

  Plan plan;
  for (size_t i = backwards.size(); i-- > 0;) {
    const auto& [key, reads] = backwards[i];
    const auto [n, output, frame] = key;
    step_of[key] = plan.steps.size();
    Step step{n, output, frame, open[key], {}, 0};
    for (const auto& [read, from] : reads) {
      step.reads.push_back({read.input, read.item, read.frame, step_of.at(from)});
      ++plan.steps[step_of.at(from)].uses;
    }
    plan.steps.push_back(std::move(step));
  }
  for (const Key& key : wanted) {
    plan.wanted.push_back(step_of.at(key));
    ++plan.steps[plan.wanted.back()].uses;
  }
  return plan;
}

int64_t Plan::peak_bytes() const {
  std::vector<int> left(steps.size());
  for (size_t i = 0; i < steps.size(); ++i) left[i] = steps[i].uses;
  int64_t now = 0, peak = 0;
  for (const Step& s : steps) {
    now += s.rect.area() * 16;
    peak = std::max(peak, now);
    for (const Read& r : s.reads)
      if (--left[r.step] == 0) now -= steps[r.step].rect.area() * 16;
  }
  return peak;
}

}  // namespace pw
