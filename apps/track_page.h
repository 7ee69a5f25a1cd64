// The page that shows how well planes were followed: gathers the pictures that track/report.h lays out.
#pragma once
#include "apps/command.h"
#include "comp/graph/render.h"

namespace pw {

// Whether its result is a motion.
bool gives_motion(const Node& node);

// Whether the nodes can stand on a page: each gives a motion and has an image, and the page can be written. Says the
// problem.
bool may_be_reported(const Scene& scene, const std::vector<int>& nodes, const std::string& file);

// Writes the page of the nodes' motions; they may be reported. An exit status; problems are said.
int write_track_page(const Scene& scene, const Results& results, const std::vector<int>& nodes, const std::string& file,
                     const RenderOptions& options, bool silent);

}  // namespace pw
