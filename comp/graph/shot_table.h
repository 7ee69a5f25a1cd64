// The [shot] table: what every node of the shot shares.
#pragma once
#include "comp/graph/graph.h"

namespace pw {

// Fills graph.like, graph.given and graph.frames_given from the text; adds problems at their positions.
void read_shot_table(const ShotText& text, Graph& graph, Problems& problems);

}  // namespace pw
