#include "comp/colour/light_measure.h"

#include <algorithm>
#include <cmath>

#include "base/pool.h"
#include "comp/colour/light_patch.h"
#include "comp/colour/light_table.h"

namespace pw {
namespace {

constexpr int kMostPatterns = 7;

// Where the motion says the plate's pixels of a frame lie in the reference frame; nothing where it does not, or only by
// other frames.
std::optional<Matrix3> to_ref(const Motion* motion, int frame) {
  if (!motion) return Matrix3::Identity();
  const Pose* pose = motion->find(frame);
  if (!pose || !pose->seen()) return std::nullopt;
  const Matrix3 inverse = inverted(pose->frame_from_ref);
  return inverse.allFinite() ? std::optional(inverse) : std::nullopt;
}

// Holds all frames' plates as the reference frame sees them, but no more than a plate's size beyond its own.
PlaceGrid grid_over(const LightFrames& frames, const Motion* motion, double cell) {
  const double w = frames.width(), h = frames.height();
  double x0 = 0, y0 = 0, x1 = w, y1 = h;
  for (int f = frames.first(); motion && f <= frames.last(); ++f) {
    const auto ref = to_ref(motion, f);
    const auto bounds = ref ? mapped_bounds(*ref, Rect::sized(frames.width(), frames.height())) : std::nullopt;
    if (!bounds) continue;
    x0 = std::min<double>(x0, bounds->x0), x1 = std::max<double>(x1, bounds->x1);
    y0 = std::min<double>(y0, bounds->y0), y1 = std::max<double>(y1, bounds->y1);
  }
  x0 = std::max(x0, -w), y0 = std::max(y0, -h), x1 = std::min(x1, 2 * w), y1 = std::min(y1, 2 * h);
  PlaceGrid g{x0, y0, cell, 0, 0};
  g.columns = static_cast<int>(std::ceil((x1 - x0) / cell)) + 1;
  g.rows = static_cast<int>(std::ceil((y1 - y0) / cell)) + 1;
  return g;
}

// The grid's values at the plate's own nodes: the plate's grid is one more Light, laid the other way.
std::vector<float> on_plate(const Light& plate, const PlaceGrid& grid, const std::vector<float>& stops,
                            const Matrix3& ref_from_frame) {
  Light laid{0, 0, grid.cell, grid.columns, grid.rows, {}};
  const LightFrame field{0, stops, 0};
  std::vector<float> out(3 * size_t(plate.columns) * plate.rows);
  for (int j = 0; j < plate.rows; ++j)
    for (int i = 0; i < plate.columns; ++i) {
      const Point p = map(ref_from_frame, Point(i * plate.cell_px, j * plate.cell_px));
      const bool finite = std::isfinite(p.x()) && std::isfinite(p.y());
      laid.at(field, finite ? p.x() - grid.x0 : 0, finite ? p.y() - grid.y0 : 0,
              std::span<float, 3>(&out[3 * (size_t(j) * plate.columns + i)], 3));
    }
  return out;
}

}  // namespace

Result<Light> measure_light(const LightFrames& frames, const Motion* motion, double cell_px, const Runner& runner,
                            const std::function<bool(int done, int total)>& progress) {
  const int count = frames.last() - frames.first() + 1, steps = count + count / 4 + 1;
  const PlaceGrid grid = grid_over(frames, motion, cell_px);
  const size_t nodes = size_t(grid.count());
  Light light = Light::grid(frames.width(), frames.height(), cell_px);
  auto table = LightRows::create(3 * nodes);
  if (!table) return fail(table.error());
  const auto by_channel = [nodes](const std::vector<float>& of_node) {
    std::vector<float> out(of_node.size());
    for (size_t c = 0; c < 3; ++c)
      for (size_t n = 0; n < nodes; ++n) out[c * nodes + n] = of_node[3 * n + c];
    return out;
  };
  bool any = false;
  for (int i = 0; i < count; ++i) {
    const int f = frames.first() + i;
    const auto ref = to_ref(motion, f);
    SeenLight seen{std::vector<float>(3 * nodes), std::vector<float>(3 * nodes), 0};
    if (ref) seen = see_light(frames.plate(f), frames.still(f), frames.ignore(f), *ref, grid);
    any = any || seen.share > 0;
    light.frames.push_back({f, {}, seen.share});
    if (auto added = table->add(by_channel(seen.stops), by_channel(seen.weight)); !added) return fail(added.error());
    if (!progress(i + 1, steps))
      return fail(Problem{.what = "stopped", .remedy = "run it again; what is stored is used again"});
  }
  if (!any)
    return fail(Problem{.what = "no frame shows anything to measure the light on",
                        .remedy = "check that the pinned still covers the plate, and that ignore leaves something"});

  drop_spare_buffers();  // No frame is looked at again.
  Matrix3 last = Matrix3::Identity();
  std::vector<float> stops(3 * nodes);
  fill({grid.columns, grid.rows, 3}, *table, kMostPatterns, runner, [&](size_t i, std::span<const double> row) {
    for (size_t c = 0; c < 3; ++c)
      for (size_t n = 0; n < nodes; ++n) stops[3 * n + c] = static_cast<float>(row[c * nodes + n]);
    last = to_ref(motion, light.frames[i].frame).value_or(last);
    light.frames[i].stops = on_plate(light, grid, stops, last);
  });
  progress(steps, steps);
  return light;
}

}  // namespace pw
