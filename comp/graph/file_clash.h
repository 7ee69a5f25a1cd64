// Finds files that would be written over: a delivery onto an input, or two onto the same name.
#pragma once
#include "comp/graph/graph.h"

namespace pw {

Problems file_clashes(const Graph& graph);

}  // namespace pw
