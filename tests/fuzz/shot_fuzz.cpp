// Any bytes as a shot file, their first line as a setting: problems or a graph, never a crash. What passes the check is
// also planned as far as that goes without files.
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

#include "comp/graph/graph.h"
#include "comp/graph/scene.h"
#include "comp/kinds/registry.h"

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  auto parsed = pw::parse_shot(text, "fuzz.toml");
  if (!parsed) return pw::to_string(parsed.error()).empty();
  std::string_view setting = text.substr(0, text.find('\n'));
  if (setting.starts_with("# ")) setting.remove_prefix(2);  // So that it need not be TOML.
  const auto set = pw::with_setting(*parsed, setting);
  auto checked = pw::check(set ? *set : *parsed, pw::all_kinds());
  if (!checked) return pw::to_string(checked.error()).empty();
  const pw::Graph& g = checked->graph;
  pw::fixed_nodes(g);
  for (const pw::Node& n : g.nodes)
    for (const pw::Param& p : n.kind->params) pw::to_text(p.get(n.params.get()));
  return 0;
}
