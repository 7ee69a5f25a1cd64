#include "apps/lineup.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "apps/open.h"
#include "apps/points.h"
#include "apps/say.h"
#include "comp/graph/render.h"
#include "comp/media/still.h"
#include "track/ground_grid.h"

namespace pw {
namespace {

constexpr double kAround = 0.5;  // Metres of platform beyond where feet stand.

// The one camera of the shot, or the one that is named. Says the problem.
std::optional<int> camera_node(const Scene& scene, const ProbeCommand& c) {
  if (!c.camera.empty()) {
    const auto named = nodes_named(scene, {c.camera});
    if (!named) return std::nullopt;
    const Kind* k = scene.graph.nodes[named->front()].kind;
    if (!k->outputs.empty() && k->outputs[0].flow == Flow::camera) return named->front();
    say({{.what = fmt::format("{} is no camera", c.camera), .remedy = "name a node of kind camera", .file = c.file}});
    return std::nullopt;
  }
  std::vector<int> all;
  for (size_t n = 0; n < scene.graph.nodes.size(); ++n)
    if (const Kind* k = scene.graph.nodes[n].kind; !k->outputs.empty() && k->outputs[0].flow == Flow::camera)
      all.push_back(static_cast<int>(n));
  if (all.size() == 1) return all.front();
  say({{.what = all.empty() ? "the shot has no camera" : fmt::format("the shot has {} cameras", all.size()),
        .remedy = all.empty() ? "add a node of kind camera" : "name one with --camera",
        .file = c.file}});
  return std::nullopt;
}

// The plate at half, the lines over it.
Picture overlaid(const Picture& plate, const Picture& lines) {
  Canvas out = Canvas::clear(lines.window(), 4);
  const Rect both = intersect(plate.window(), lines.window());
  for (int y = both.y0; y < both.y1; ++y)
    for (int x = both.x0; x < both.x1; ++x) {
      const float *p = plate.at(x, y), *l = lines.at(x, y);
      const float under = 0.5f * (1 - l[3]);
      float* v = out.at(x, y);
      for (int k = 0; k < 3; ++k) v[k] = l[k] + under * p[plate.channels() >= 3 ? k : 0];
      v[3] = l[3] + under * (plate.channels() == 4 ? p[3] : 1);
    }
  return std::move(out).finish();
}

double degrees_across(const Camera& c, double side) { return 2 * std::atan2(side / 2, c.focal_px) * 180 / M_PI; }

// Where feet stand on the ground, and how large somebody is there.
struct Place {
  Point seen, ground;
  double size_px;
};

// Nothing when a place is not on the ground, which is said.
std::optional<std::vector<Place>> places_on_ground(const Camera& c, const std::vector<Point>& seen,
                                                   const ProbeCommand& given) {
  std::vector<Place> places;
  for (const Point& p : seen) {
    const auto size = c.size_px(p, given.tall_m);
    if (!size) {
      say({{.what = fmt::format("nobody stands at {:g},{:g}: it is above the horizon", p.x(), p.y()),
            .remedy = fmt::format("the ground begins at row {:.0f} there", std::ceil(c.horizon_y(p.x()))),
            .file = given.file}});
      return std::nullopt;
    }
    places.push_back({p, map(inverted(c.frame_from_ground), p), *size});
  }
  return places;
}

// Metres to the right and ahead, that hold all places with room around; nothing for one place alone.
struct Platform {
  Point lo, hi;
};
std::optional<Platform> platform_of(const std::vector<Place>& places) {
  if (places.size() < 2) return std::nullopt;
  Platform p{places[0].ground, places[0].ground};
  for (const Place& q : places) p.lo = p.lo.cwiseMin(q.ground), p.hi = p.hi.cwiseMax(q.ground);
  p.lo -= Point(kAround, kAround), p.hi += Point(kAround, kAround);
  return p;
}

std::string give_or_take(double value, double sd, int digits, std::string_view unit) {
  return fmt::format("{:.{}f} {}{}", value, digits, unit, sd > 0 ? fmt::format(" (+- {:.{}f})", sd, digits) : "");
}

std::string_view side(double x) { return x < 0 ? "left" : "right"; }

void print_sheet(const Camera& c, const std::vector<Place>& places, const ProbeCommand& given) {
  fmt::print("camera height       {} above the ground\n", give_or_take(c.height_m, c.height_sd_m, 2, "m"));
  fmt::print("tilt                {} {}\n", give_or_take(std::abs(c.tilt_deg), c.tilt_sd_deg, 2, "degrees"),
             c.tilt_deg < 0 ? "up" : "down");
  fmt::print("roll                {} {}\n", give_or_take(std::abs(c.roll_deg), c.roll_sd_deg, 2, "degrees"),
             c.roll_deg < 0 ? "anticlockwise" : "clockwise");
  fmt::print("lens                {:.1f} degrees wide, {:.1f} high: {:.1f} mm for each 10 mm of the sensor's width\n",
             degrees_across(c, c.width), degrees_across(c, c.height), 10 * c.focal_px / c.width);
  const auto share = [&](double x) { return 100 * c.horizon_y(x) / c.height; };
  fmt::print(
      "horizon             {:.1f} % of the frame's height from the top at its left edge, {:.1f} % at its right\n",
      share(0), share(c.width));
  for (const Place& p : places)
    fmt::print(
        "feet at {:g},{:g}   {:.2f} m ahead, {:.2f} m to the {}; {:g} m tall is {:.0f} px, {:.1f} % of the "
        "frame's height\n",
        p.seen.x(), p.seen.y(), p.ground.y(), std::abs(p.ground.x()), side(p.ground.x()), given.tall_m, p.size_px,
        100 * p.size_px / c.height);
  if (const auto p = platform_of(places)) {
    const Point size = p->hi - p->lo;
    const double middle = (p->lo.x() + p->hi.x()) / 2;
    fmt::print(
        "platform            {:.1f} m wide, {:.1f} m deep; its near edge {:.2f} m ahead, its middle {:.2f} m to "
        "the {}\n",
        size.x(), size.y(), p->lo.y(), std::abs(middle), side(middle));
  }
  fmt::print("{}: the plate, half transparent, with a grid of metres on its ground and its horizon\n", given.lineup);
}

void print_json(const Camera& c, const std::vector<Place>& places, const ProbeCommand& given) {
  nlohmann::ordered_json j = {{"file", given.file},
                              {"picture", given.lineup},
                              {"frame", c.frame},
                              {"height_m", c.height_m},
                              {"height_sd_m", c.height_sd_m},
                              {"tilt_deg", c.tilt_deg},
                              {"tilt_sd_deg", c.tilt_sd_deg},
                              {"roll_deg", c.roll_deg},
                              {"roll_sd_deg", c.roll_sd_deg},
                              {"wide_deg", degrees_across(c, c.width)},
                              {"high_deg", degrees_across(c, c.height)},
                              {"horizon", {c.horizon_y(0), c.horizon_y(c.width)}},
                              {"places", nlohmann::ordered_json::array()}};
  for (const Place& p : places)
    j["places"].push_back({{"seen", {p.seen.x(), p.seen.y()}},
                           {"right_m", p.ground.x()},
                           {"ahead_m", p.ground.y()},
                           {"tall_m", given.tall_m},
                           {"tall_px", p.size_px}});
  if (const auto p = platform_of(places))
    j["platform"] = {{"right_m", {p->lo.x(), p->hi.x()}}, {"ahead_m", {p->lo.y(), p->hi.y()}}};
  fmt::print("{}\n", j.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace));
}

}  // namespace

int line_up(const ProbeCommand& c) {
  const auto wrong = [&](std::string what, std::string remedy) {
    say({{.what = std::move(what), .remedy = std::move(remedy), .file = c.file}});
    return kMistake;
  };
  if (!c.lineup.ends_with(".png")) return wrong("--lineup writes a picture with alpha", "name it as in lineup.png");
  const auto seen = points_in(c.stand);
  if (!seen) return wrong("--stand is not a list of places", "as in --stand \"380,500 620,470\"");
  if (!(c.tall_m > 0 && c.tall_m < 1000)) return wrong("--tall is no height", "give it in metres, as in --tall 1.75");
  const auto scene = open_shot(c, 1);
  if (!scene) return kMistake;
  const auto image = node_looked_at(*scene, c.image);
  const auto node = camera_node(*scene, c);
  const auto memory = memory_limit(c.memory);
  if (!image || !node || !memory) return kMistake;
  watch_for_stop();
  const auto runner = arena(c.threads);
  std::vector<int> wanted = *image;
  wanted.push_back(*node);
  const auto results = measure(*scene, wanted, {*runner, *memory});
  if (!results) return say(results.error()), kMistake;
  const Camera& camera = std::get<Camera>(results->measured[*node]);
  const auto places = places_on_ground(camera, *seen, c);
  if (!places) return kMistake;
  if (!camera.doubt.empty()) say({{.what = camera.doubt, .file = c.file, .severity = Severity::warning}});
  auto plate =
      render_node(*scene, *results, image->front(), 0, camera.frame, {.runner = *runner, .memory_limit = *memory});
  if (!plate) return say(plate.error()), kMistake;
  const auto written =
      write_still(c.lineup, overlaid(*plate, ground_grid(camera)), {.encoding = Encoding::srgb, .depth = Depth::bits8});
  if (!written) return say(written.error()), kMistake;
  if (c.json) {
    print_json(camera, *places, c);
  } else {
    fmt::print("{}: frame {} of {}\n", c.file, camera.frame, scene->graph.nodes[*node].name);
    print_sheet(camera, *places, c);
  }
  return kDone;
}

}  // namespace pw
