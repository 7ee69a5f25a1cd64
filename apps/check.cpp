#include <fmt/format.h>

#include "apps/open.h"
#include "apps/say.h"

namespace pw {

int run(const CheckCommand& c) {
  const auto scene = open_shot(c, 1);
  if (!scene) return kMistake;
  const Shot& s = scene->shot;
  if (c.json)
    fmt::print("{{\"problems\": [], \"size\": [{}, {}], \"frames\": [{}, {}]}}\n", s.width, s.height, s.first, s.last);
  else
    fmt::print("{} is right: {} nodes, {}x{}, frames {} to {} at {:.6g} a second\n", c.shot, scene->graph.nodes.size(),
               s.width, s.height, s.first, s.last, s.rate);
  return kDone;
}

}  // namespace pw
