#include "apps/stills.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "apps/open.h"
#include "apps/points.h"
#include "apps/say.h"
#include "comp/graph/render.h"
#include "comp/matte/raster.h"
#include "comp/repair/together.h"
#include "warp/resample.h"

namespace pw {
namespace {

struct Row {
  int frame = 0;
  double empty = 1, covered = 0, sharp = 0, smear = 0, unlike = 0;
  double worth() const { return std::pow(empty, 4) * covered * covered * std::sqrt(sharp); }
};

// Brightness in code values, roughly even to the eye: a square root is enough to compare frames of one shot.
Picture brightness(const Picture& p) {
  Canvas c(p.window(), 1);
  for (int y = p.window().y0; y < p.window().y1; ++y)
    for (int x = p.window().x0; x < p.window().x1; ++x) {
      const float* v = p.at(x, y);
      const float l = p.channels() >= 3 ? 0.2126f * v[0] + 0.7152f * v[1] + 0.0722f * v[2] : v[0];
      *c.at(x, y) = std::sqrt(std::max(0.f, l));
    }
  return std::move(c).finish();
}

Picture whole(const Rect& r) {
  const float one = 1;
  return Canvas::filled(r, 1, &one).finish();
}

}  // namespace

int rank_stills(const ProbeCommand& c) {
  auto wrong = [&](std::string what, std::string remedy) {
    say({{.what = std::move(what), .remedy = std::move(remedy), .file = c.file}});
    return kMistake;
  };
  const auto scene = open_shot(c, 1);
  if (!scene) return kMistake;
  if (c.motion.empty()) return wrong("--stills needs to know how the region moves", "add --motion PLANE");
  const auto memory = memory_limit(c.memory);
  if (!memory) return kMistake;
  const auto image = node_looked_at(*scene, c.image), motion_node = nodes_named(*scene, {c.motion});
  const auto things = c.things.empty() ? std::optional(std::vector<int>()) : nodes_named(*scene, c.things);
  if (!image || !motion_node || !things) return kMistake;

  watch_for_stop();
  const auto runner = arena(c.threads);
  std::vector<int> wanted = *things;
  wanted.push_back(image->front());
  wanted.push_back(motion_node->front());
  const auto results = measure(*scene, wanted, {*runner, *memory});
  if (!results) return say(results.error()), kMistake;
  const auto* motion = std::get_if<Motion>(&results->measured[motion_node->front()]);
  if (!motion) return wrong(fmt::format("{} is no plane", c.motion), "name a plane node for --motion");
  std::vector<Point> region = motion->region;
  if (!c.region.empty()) {
    const auto corners = points_in(c.region);
    if (!corners || corners->size() < 3)
      return wrong("--region is no list of corners", "write \"x,y x,y x,y\" in pixels of the reference frame");
    region = *corners;
  }
  // The region in a picture of its own, at most 400 pixels wide.
  const Shape shape{{polygon(region)}};
  const Rect full = bounds(shape);
  const double s = std::min(1.0, 400.0 / std::max(full.width(), full.height()));
  const Matrix3 small_from_ref = scaling(s, s) * translation(-full.x0, -full.y0);
  const Rect small =
      Rect::sized(std::max(1, int(std::ceil(full.width() * s))), std::max(1, int(std::ceil(full.height() * s))));
  const Picture inside = rasterise(mapped(shape, small_from_ref), small);

  std::vector<Row> rows;
  std::vector<Picture> looks, covers;
  Progress progress("frames", c.json);
  const RenderOptions options{.runner = *runner, .memory_limit = *memory};
  for (int f = scene->shot.first; f <= scene->shot.last; ++f) {
    if (stop_asked()) return kStopped;
    const Pose* pose = motion->find(f);
    if (!pose || !pose->seen()) continue;
    const Matrix3 small_from_frame = small_from_ref * pose->frame_from_ref.inverse();
    auto picture = render_node(*scene, *results, image->front(), 0, f, options);
    if (!picture) {
      say(picture.error());
      continue;
    }
    Row row{.frame = f};
    looks.push_back(resample(brightness(*picture), small_from_frame, small, {}));
    covers.push_back(resample(whole(scene->shot.canvas()), small_from_frame, small, {}));
    double area = 0, covered = 0, hidden = 0, gradient = 0;
    std::vector<Picture> mattes;
    for (int thing : *things) {
      auto matte = render_node(*scene, *results, thing, 0, f, options);
      if (!matte) return say(matte.error()), kMistake;
      mattes.push_back(resample(*matte, small_from_frame, small, {}));
    }
    auto value = [](const Picture& p, int x, int y) { return p.window().contains(x, y) ? *p.at(x, y) : 0.f; };
    for (int y = 1; y + 1 < small.y1; ++y)
      for (int x = 1; x + 1 < small.x1; ++x) {
        const double w = *inside.at(x, y), cover = w * std::clamp(value(covers.back(), x, y), 0.f, 1.f);
        area += w, covered += cover;
        double thing = 0;
        for (const Picture& m : mattes) thing = std::max(thing, double(value(m, x, y)));
        hidden += w * thing;
        const double gx = value(looks.back(), x + 1, y) - value(looks.back(), x - 1, y);
        const double gy = value(looks.back(), x, y + 1) - value(looks.back(), x, y - 1);
        gradient += cover * (1 - thing) * (gx * gx + gy * gy);
      }
    row.covered = area > 0 ? covered / area : 0;
    row.empty = area > 0 ? 1 - hidden / area : 0;
    row.sharp = covered - hidden > 1 ? gradient / (covered - hidden) : 0;
    row.smear = smear_px(*motion, f, scene->shot.shutter_deg);
    rows.push_back(row);
    progress.at(f - scene->shot.first + 1, scene->shot.last - scene->shot.first + 1);
  }
  if (rows.empty()) return wrong("no frame could be looked at", "check the motion and the footage");
  double sharpest = 1e-12;
  for (const Row& r : rows) sharpest = std::max(sharpest, r.sharp);
  for (Row& r : rows) r.sharp /= sharpest;

  // Unlike: the share of the covered region that is further than 0.06 from the median of all frames.
  for (int y = 0; y < small.y1; ++y)
    for (int x = 0; x < small.x1; ++x) {
      if (*inside.at(x, y) < 0.5f) continue;
      std::vector<float> all;
      for (size_t i = 0; i < rows.size(); ++i)
        if (covers[i].window().contains(x, y) && *covers[i].at(x, y) > 0.99f) all.push_back(*looks[i].at(x, y));
      if (all.empty()) continue;
      std::nth_element(all.begin(), all.begin() + all.size() / 2, all.end());
      const float usual = all[all.size() / 2];
      for (size_t i = 0; i < rows.size(); ++i)
        if (covers[i].window().contains(x, y) && *covers[i].at(x, y) > 0.99f)
          rows[i].unlike += std::abs(*looks[i].at(x, y) - usual) > 0.06f;
    }
  double area = 0;
  for (int y = 0; y < small.y1; ++y)
    for (int x = 0; x < small.x1; ++x) area += *inside.at(x, y) >= 0.5f;
  for (Row& r : rows) r.unlike /= std::max(1.0, area * r.covered);

  std::stable_sort(rows.begin(), rows.end(), [](const Row& a, const Row& b) { return a.worth() > b.worth(); });
  if (c.json) {
    nlohmann::ordered_json j = nlohmann::ordered_json::array();
    for (const Row& r : rows) {
      nlohmann::ordered_json row = {
          {"frame", r.frame}, {"covered", r.covered}, {"sharp", r.sharp}, {"smear_px", r.smear}, {"unlike", r.unlike}};
      if (!things->empty()) row["empty"] = r.empty;
      j.push_back(row);
    }
    fmt::print("{}\n", j.dump());
    return kDone;
  }
  fmt::print("frame   {}covered   sharp   smear px   unlike\n", things->empty() ? "" : "empty   ");
  for (const Row& r : rows)
    fmt::print("{:5}   {}{:5.1f} %   {:5.2f}   {:8.2f}   {:4.1f} %\n", r.frame,
               things->empty() ? "" : fmt::format("{:4.0f} %  ", 100 * r.empty), 100 * r.covered, r.sharp, r.smear,
               100 * r.unlike);
  if (things->empty())
    fmt::print("how empty the region is can be told when --thing names an outline of what must be out of it\n");
  return kDone;
}

}  // namespace pw
