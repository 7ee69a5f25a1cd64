#include "comp/graph/reels.h"

#include <fmt/format.h>

#include "comp/graph/key.h"

namespace pw {

Reels::Reels(const Scene& scene, const std::vector<int>& sinks, const std::vector<int>& frames,
             const std::vector<std::string>& keys, bool reuse) {
  for (int sink : sinks) {
    const Node& node = scene.graph.nodes[sink];
    const Hooks& hooks = node.kind->hooks;
    if (!hooks.reel || frames.empty()) continue;
    std::vector<std::vector<const Survey*>> inputs;
    for (const auto& input : node.inputs) {
      inputs.emplace_back();
      for (const Link& l : input) inputs.back().push_back(scene.surveys[l.node] ? &*scene.surveys[l.node] : nullptr);
    }
    const std::string origin = fmt::format("{} {}-{} ({})", keys[sink], frames.front(), frames.back(), frames.size());
    State state{.file = hooks.target(node.params.get(), scene.shot, frames.front())};
    state.kept = reuse && hooks.origin && hooks.origin(node.params.get(), scene.shot, frames.front()) == origin;
    if (!state.kept) {
      auto reel = hooks.reel(node.params.get(), {scene.shot, frames, inputs, origin, std::string(target_name())});
      if (reel && !*reel) continue;
      if (reel) state.reel = *std::move(reel);
      state.refused = !reel;
      if (state.refused)
        for (Problem& p : reel.error()) {
          p.node = node.name;
          if (p.file.empty()) {
            const Position at = node.where("file");
            p.file = scene.graph.file, p.line = at.line, p.column = at.column;
          }
          begun_.push_back(std::move(p));
        }
    }
    states_.emplace(sink, std::move(state));
  }
}

Reel* Reels::of(int sink) {
  const auto it = states_.find(sink);
  return it == states_.end() ? nullptr : it->second.reel.get();
}

bool Reels::takes(int sink) {
  std::lock_guard lock(mutex_);
  const auto it = states_.find(sink);
  return it == states_.end() || !(it->second.refused || it->second.kept || it->second.lost);
}

void Reels::lose(int sink, int frame) {
  std::lock_guard lock(mutex_);
  if (const auto it = states_.find(sink); it != states_.end() && !it->second.lost) it->second.lost = frame;
}

void Reels::finish(RenderReport& report) {
  Problems& problems = report.problems;
  problems.insert(problems.end(), begun_.begin(), begun_.end());
  for (auto& [sink, state] : states_) {
    report.kept += state.kept;
    if (state.refused || state.kept) continue;
    if (state.lost) {
      problems.push_back(
          {.what = fmt::format("the movie is not written, because frame {} is missing in it", *state.lost),
           .remedy = "mend that frame and render it again, or deliver numbered pictures",
           .file = state.file});
    } else if (report.stopped || report.given_up) {
      problems.push_back({.what = "the movie was not finished, and nothing is left of it",
                          .remedy = "render it again",
                          .file = state.file,
                          .severity = Severity::note});
    } else if (auto r = state.reel->finish(); r) {
      ++report.written;
    } else {
      problems.insert(problems.end(), r.error().begin(), r.error().end());
    }
    state.reel.reset();
  }
}

}  // namespace pw
