// Whole shots in the tests: text, check, survey; what they deliver.
#pragma once
#include <string>
#include <vector>

#include "comp/graph/render.h"
#include "comp/kinds/registry.h"
#include "tests/folder.h"

namespace pw::shots {

inline Result<Scene> scene_of(const std::string& dir, const std::string& text) {
  auto parsed = parse_shot(text, dir + "s.toml");
  if (!parsed) return fail(parsed.error());
  auto checked = check(*parsed, all_kinds());
  if (!checked) return fail(checked.error());
  return survey(std::move(checked->graph));
}

inline std::vector<int> sinks_of(const Scene& s) {
  std::vector<int> sinks;
  for (size_t n = 0; n < s.graph.nodes.size(); ++n)
    if (s.graph.nodes[n].kind->family == Family::sink) sinks.push_back(static_cast<int>(n));
  return sinks;
}

}  // namespace pw::shots
