// The [shot] table: what every node of the shot shares.
#pragma once
#include "comp/graph/graph.h"

namespace pw {

// True: the shot file or, by OpenColorIO's standard, the environment variable OCIO names a configuration of colour.
bool names_colours(const ShotText& text);

// Fills graph.like, graph.given and graph.frames_given from the text; adds problems at their positions.
void read_shot_table(const ShotText& text, Graph& graph, Problems& problems);

}  // namespace pw
