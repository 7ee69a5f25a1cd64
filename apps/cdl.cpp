#include <fmt/format.h>

#include "apps/open.h"
#include "apps/say.h"
#include "comp/colour/cdl_file.h"
#include "comp/media/whole_file.h"

namespace pw {
namespace {

template <class T>
T value_of(const Node& node, std::string_view name) {
  return std::get<T>(node.kind->param(name)->get(node.params.get()));
}

// The numbers in the shot file, or those of the file it names.
Cdl cdl_of(const Scene& scene, int n) {
  const Node& node = scene.graph.nodes[n];
  if (const auto& survey = scene.surveys[n]; survey && survey->numbers.size() == 10)
    return from_ten_numbers(survey->numbers);
  const auto list = [&](std::string_view name) { return value_of<std::vector<double>>(node, name); };
  return from_lists(list("slope"), list("offset"), list("power"), value_of<double>(node, "saturation"));
}

}  // namespace

int run(const CdlCommand& c) {
  if (!c.out.ends_with(".cc")) {
    say({{.what = "a correction is written as a .cc file", .remedy = "give --out that ending", .file = c.out}});
    return kMistake;
  }
  const auto scene = open_shot(c, 1);
  if (!scene) return kMistake;
  const auto nodes = nodes_named(*scene, {c.node});
  if (!nodes) return kMistake;
  const Node& node = scene->graph.nodes[nodes->front()];
  if (node.kind->name != "cdl") {
    say({{.what = fmt::format("{} is a {}, no cdl", node.name, node.kind->name),
          .remedy = "name a cdl node",
          .file = scene->graph.file}});
    return kMistake;
  }
  const std::string about = fmt::format("acts on {} values, {}", value_of<std::string>(node, "space"),
                                        value_of<bool>(node, "clamp") ? "held to 0 to 1" : "not clamped");
  const std::string text = cdl_text(cdl_of(*scene, nodes->front()), node.name, about);
  if (auto written = write_whole_file(c.out, {reinterpret_cast<const unsigned char*>(text.data()), text.size()});
      !written)
    return say(written.error()), kMistake;
  fmt::print("{}\n", c.out);
  return kDone;
}

}  // namespace pw
