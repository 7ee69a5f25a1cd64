// Draws a shot again in bands and small tiles whose order is shuffled: redraw SHOT NODE FILE BAND_HEIGHT TILE SEED ODD
// Every other frame, from the shot's first (ODD 0) or second (1). FILE takes the place of the delivery's own. Measured
// results are those stored beside the shot. The bytes must be those of the command, which draws whole frames.
#include <cstdio>
#include <cstdlib>

#include "comp/graph/graph.h"
#include "comp/graph/render.h"
#include "comp/kinds/registry.h"

namespace pw {
namespace {

int stop(const Problems& problems) {
  std::fputs(to_string(problems).c_str(), stderr);
  return 1;
}

int redraw(const std::string& shot, const std::string& node, const std::string& file, int band, int tile, int seed,
           int odd) {
  auto text = read_shot(shot);
  if (text) text = with_setting(std::move(*text), node + ".file=" + file);
  if (!text) return stop(text.error());
  auto checked = check(*text, all_kinds());
  if (!checked) return stop(checked.error());
  const auto scene = survey(std::move(checked->graph), 1);
  if (!scene) return stop(scene.error());
  const auto runner = shuffled(seed);
  const std::vector<int> sinks{scene->graph.find(node)};
  if (sinks[0] < 0) return stop({{.what = "there is no node " + node}});
  const auto results = measure(*scene, sinks, {*runner});
  if (!results) return stop(results.error());
  std::vector<int> frames;
  for (int f = scene->shot.first + odd; f <= scene->shot.last; f += 2) frames.push_back(f);
  const RenderReport report = render(*scene, *results, sinks, frames,
                                     {.runner = *runner, .band_height = band, .tile_width = tile, .tile_height = tile});
  return report.problems.empty() ? 0 : stop(report.problems);
}

}  // namespace
}  // namespace pw

int main(int count, char** word) {
  if (count != 8) return std::fputs("redraw SHOT NODE FILE BAND_HEIGHT TILE SEED ODD\n", stderr), 2;
  return pw::redraw(word[1], word[2], word[3], std::atoi(word[4]), std::atoi(word[5]), std::atoi(word[6]),
                    std::atoi(word[7]));
}
