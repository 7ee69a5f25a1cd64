// From the name of a shot file to a scene that can be measured and rendered.
#pragma once
#include <atomic>
#include <optional>

#include "apps/command.h"
#include "comp/graph/scene.h"

namespace pw {

// Reads, applies --set, checks and surveys. Says the problems; nothing when there are errors.
// `told` gathers them and the warnings for JSON that is printed later; without it JSON is printed here.
std::optional<Scene> open_shot(const Common& common, double scale, Problems* told = nullptr);

// The same for footage alone, without a shot file: `common.shot` names it.
std::optional<Scene> open_footage(const Common& common);

// Indices of the named nodes; of all sinks when there is no name. Says the problem when a name is no node.
std::optional<std::vector<int>> nodes_named(const Scene& scene, const std::vector<std::string>& names);

// The node named with --image, or the shot's footage when none is. Says the problem.
std::optional<std::vector<int>> node_looked_at(const Scene& scene, const std::string& name);

// Set by Ctrl-C (SIGINT) and SIGTERM once watch_for_stop() was called; a second signal ends the program at once.
const std::atomic<bool>& stop_asked();
void watch_for_stop();

}  // namespace pw
