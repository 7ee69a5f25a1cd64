#include "comp/graph/key.h"

#include <fmt/format.h>
#define XXH_INLINE_ALL
#include <xxhash.h>

#include "comp/graph/bars.h"

namespace pw {

std::string_view target_name() {
#if defined(__AVX2__) && defined(__FMA__)
  return "x86-64-v3";
#else
  return "other";
#endif
}

std::vector<std::string> cache_keys(const Scene& scene) {
  const Shot& s = scene.shot;
  const std::string shared = fmt::format("{} {}x{} {}-{} {} {} {}\n", target_name(), s.width, s.height, s.first, s.last,
                                         s.rate, s.shutter_deg, s.scale);
  std::vector<std::string> keys;
  for (size_t n = 0; n < scene.graph.nodes.size(); ++n) {
    const Node& node = scene.graph.nodes[n];
    std::string text = shared + fmt::format("{} {}\n", node.kind->name, node.kind->version);
    for (const Param& p : node.kind->params)
      if (p.say.changes_pixels) text += fmt::format("{} = {}\n", p.name, to_text(p.get(node.params.get())));
    for (size_t i = 0; i < node.inputs.size(); ++i)
      for (const Link& l : node.inputs[i])
        text += fmt::format("{} {} {}\n", node.kind->inputs[i].name, keys[l.node], l.output);
    text += scene.named[n];
    if (scene.surveys[n]) text += scene.surveys[n]->identity;
    const XXH128_hash_t h = XXH3_128bits(text.data(), text.size());
    keys.push_back(fmt::format("{:016x}{:016x}", h.high64, h.low64));
  }
  // A file holds the bars whatever else it comes from.
  if (const int bars = bars_node(scene); bars >= 0)
    for (size_t n = 0; n < keys.size(); ++n)
      if (scene.graph.nodes[n].kind->family == Family::sink) keys[n] += keys[bars];
  return keys;
}

}  // namespace pw
