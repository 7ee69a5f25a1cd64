// A graph together with what its files turned out to be: size and frames are known, the rules that need them hold.
#pragma once
#include <optional>

#include "comp/graph/graph.h"

namespace pw {

struct Scene {
  Graph graph;
  Shot shot;
  std::vector<std::optional<Survey>> surveys;  // Per node; of those that read files.
  std::vector<std::string> named;              // Per node: identity of what its texts beyond the choices stand for.
  Problems warnings;
};

// Looks at the files (not at their pixels). `scale` 0 < scale <= 1: proxy.
Result<Scene> survey(Graph graph, double scale = 1);

// The active part of footage at the shot's scale, rounded inwards, so that no bar gets into it; kEverywhere without
// bars.
Rect active_part(const Survey& files, const Shot& shot);

// Which nodes the given ones lean on, themselves included.
std::vector<bool> upstream(const Graph& graph, const std::vector<int>& nodes);

// True: the node's picture is the same on every frame. Grain as measured holds for all frames, so it does not hinder
// that.
std::vector<bool> fixed_nodes(const Graph& graph);

// Per node: the node whose stored still a fixed picture comes from, or -1.
std::vector<int> still_origins(const Graph& graph, const std::vector<bool>& fixed);

}  // namespace pw
