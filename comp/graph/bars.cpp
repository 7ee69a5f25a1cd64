#include "comp/graph/bars.h"

#include <algorithm>
#include <cstring>

namespace pw {

int bars_node(const Scene& scene) {
  const int like = scene.graph.find(scene.graph.like);
  return like >= 0 && scene.surveys[like] && !scene.surveys[like]->active.empty() ? like : -1;
}

Result<Picture> with_bars(const Drawing& d, int frame, const Picture& picture) {
  const Scene& scene = d.stage.scene;
  const int node = bars_node(scene);
  if (node < 0) return picture;
  auto footage = whole_frame(d, node, 0, frame);
  if (!footage) return footage;
  const int channels = picture.channels(), had = footage->channels();
  if (channels == 4 && had < 4) return picture;

  const Rect active = active_part(*scene.surveys[node], scene.shot), all = footage->window();
  Canvas out = Canvas::clear(unite(all, active), channels);
  for (int y = all.y0; y < all.y1; ++y)
    for (int x = all.x0; x < all.x1; ++x)
      if (!active.contains(x, y))
        for (int k = 0; k < channels; ++k) out.at(x, y)[k] = footage->at(x, y)[std::min(k, had - 1)];
  const Rect inside = intersect(active, picture.window());
  for (int y = inside.y0; y < inside.y1; ++y)
    std::memcpy(out.at(inside.x0, y), picture.at(inside.x0, y), sizeof(float) * channels * inside.width());
  return std::move(out).finish();
}

}  // namespace pw
