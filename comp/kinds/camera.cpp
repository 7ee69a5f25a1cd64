#include "track/camera.h"

#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "comp/media/whole_file.h"
#include "comp/spec/declare.h"

namespace pw::camera_kind {
namespace {

struct CameraParams {
  Stands stands = Stands::ground;
  Polygon points_px, points_m;
  double focal_px = 0;
  double click_px = 0.3;
};
enum { kMotion };

Result<Measured> measure(const CameraParams& p, const Measuring& m) {
  const Motion& motion = m.motion(kMotion);
  auto camera = find_camera(motion, {.stands = p.stands,
                                     .image_points = p.points_px.empty() ? motion.region : p.points_px,
                                     .plane_points = p.points_m,
                                     .focal_px = p.focal_px,
                                     .click_px = p.click_px});
  if (!camera) return fail(camera.error());
  return Measured(std::move(*camera));
}

// {"format": "platewright-camera", "version": 1, "key", "size", "frame", "focal_px", "height_m", "tilt_deg",
// "roll_deg", each with its "..._sd", "horizon": rows at the left and right end, "frame_from_ground", "residual_px",
// "doubt"}.
Result<void> save(const Measured& m, const std::string& stem, const std::string& key) {
  const Camera& c = std::get<Camera>(m);
  nlohmann::ordered_json j = {{"format", "platewright-camera"},
                              {"version", 1},
                              {"key", key},
                              {"size", {c.width, c.height}},
                              {"frame", c.frame},
                              {"focal_px", c.focal_px},
                              {"focal_sd_px", c.focal_sd_px},
                              {"height_m", c.height_m},
                              {"height_sd_m", c.height_sd_m},
                              {"tilt_deg", c.tilt_deg},
                              {"tilt_sd_deg", c.tilt_sd_deg},
                              {"roll_deg", c.roll_deg},
                              {"roll_sd_deg", c.roll_sd_deg},
                              {"residual_px", c.residual_px},
                              {"horizon", {c.horizon_y(0), c.horizon_y(c.width)}}};
  for (int r = 0; r < 3; ++r)
    j["frame_from_ground"].push_back({c.frame_from_ground(r, 0), c.frame_from_ground(r, 1), c.frame_from_ground(r, 2)});
  j["doubt"] = c.doubt;
  const std::string text = j.dump(1) + "\n";
  return write_whole_file(stem + ".json", {reinterpret_cast<const unsigned char*>(text.data()), text.size()});
}

Result<Measured> recall(const std::string& stem, const std::string& key) {
  auto bytes = read_whole_file(stem + ".json");
  if (!bytes) return fail(bytes.error());
  const ByteSpan s = bytes->bytes();
  const auto j = nlohmann::json::parse(s.begin(), s.end(), nullptr, false);
  const Problem damaged{.what = "it is damaged"};
  if (!j.is_object() || j.value("format", "") != "platewright-camera" || j.value("version", 0) != 1)
    return fail(damaged);
  if (j.value("key", "") != key) return fail(Problem{.what = "it came from something else"});
  bool whole = true;
  const auto number = [&](const nlohmann::json& in) {
    const double v = in.is_number() ? in.get<double>() : std::nan("");
    whole = whole && std::isfinite(v);
    return v;
  };
  const auto named = [&](const char* name) { return number(j.contains(name) ? j[name] : nlohmann::json()); };
  Camera c;
  const auto size = j.value("size", nlohmann::json::array());
  if (!size.is_array() || size.size() != 2) return fail(damaged);
  c.focal_px = named("focal_px"), c.focal_sd_px = named("focal_sd_px");
  c.height_m = named("height_m"), c.height_sd_m = named("height_sd_m");
  c.tilt_deg = named("tilt_deg"), c.tilt_sd_deg = named("tilt_sd_deg");
  c.roll_deg = named("roll_deg"), c.roll_sd_deg = named("roll_sd_deg");
  c.residual_px = named("residual_px");
  const double w = number(size[0]), h = number(size[1]), frame = named("frame");
  const auto rows = j.value("frame_from_ground", nlohmann::json::array());
  if (!rows.is_array() || rows.size() != 3) return fail(damaged);
  for (int r = 0; r < 3; ++r) {
    if (!rows[r].is_array() || rows[r].size() != 3) return fail(damaged);
    for (int k = 0; k < 3; ++k) c.frame_from_ground(r, k) = number(rows[r][k]);
  }
  if (!whole || !(w >= 1 && w < 1e6 && h >= 1 && h < 1e6 && std::abs(frame) < 1e8)) return fail(damaged);
  c.width = static_cast<int>(w), c.height = static_cast<int>(h), c.frame = static_cast<int>(frame);
  if (j.contains("doubt") && j["doubt"].is_string()) c.doubt = j["doubt"].get<std::string>();
  return Measured(std::move(c));
}

Problems remarks(const Measured& m) {
  const Camera& c = std::get<Camera>(m);
  Problems all{{.what = fmt::format("focal length {:.1f} px (+- {:.1f}), {:.2f} m high (+- {:.2f}), tilted down by "
                                    "{:.2f} degrees (+- {:.2f}), rolled by {:.2f} (+- {:.2f}); the horizon cuts the "
                                    "middle of frame {} at row {:.1f}",
                                    c.focal_px, c.focal_sd_px, c.height_m, c.height_sd_m, c.tilt_deg, c.tilt_sd_deg,
                                    c.roll_deg, c.roll_sd_deg, c.frame, c.horizon_y(c.width / 2.0)),
                .severity = Severity::note}};
  if (!c.doubt.empty())
    all.push_back({.what = c.doubt,
                   .remedy = "measure more points, farther apart, or say focal_px",
                   .severity = Severity::warning});
  return all;
}

}  // namespace

Kind declare() {
  return Declare<CameraParams>("camera", Family::measure, 1,
                               "Focal length, height and tilt of the camera, from a plane with lengths that are known.")
      .also({"focal length", "horizon", "camera solve"})
      .input({"motion", Flow::motion, "The plane."})
      .output({"camera", Flow::camera, "The camera in the reference frame."})
      .param("stands", &CameraParams::stands,
             {.doc = "Which way the plane lies: on the ground, or upright.", .choices = {"ground", "upright"}})
      .param("points_px", &CameraParams::points_px,
             {.doc = "Places on the plane in the reference frame, four or more; without them the region's corners.",
              .unit = Unit::px})
      .param("points_m", &CameraParams::points_m,
             {.doc = "Where they are, metres: to the right, and ahead on the ground or up on an upright plane.",
              .required = true,
              .example = "[[0, 0], [2, 0], [2, 3], [0, 3]]"})
      .param(
          "focal_px", &CameraParams::focal_px,
          {.doc = "The focal length, when it is known: its millimetres times the plate's width through the sensor's; "
                  "0: it is measured.",
           .unit = Unit::px,
           .min = 0,
           .max = 1000000,
           .low = 0,
           .high = 5000})
      .param("click_px", &CameraParams::click_px,
             {.doc = "How well the points are placed, one standard deviation.",
              .unit = Unit::px,
              .min = 0.01,
              .max = 100,
              .low = 0.1,
              .high = 3})
      .rule([](const CameraParams& p, const Given&) -> std::optional<Complaint> {
        if (p.points_m.size() < 4)
          return Complaint{"points_m", fmt::format("has {} points", p.points_m.size()), "a camera needs 4 or more"};
        if (p.points_px.empty() || p.points_px.size() == p.points_m.size()) return std::nullopt;
        return Complaint{"points_px",
                         fmt::format("has {} points, points_m has {}", p.points_px.size(), p.points_m.size()),
                         "give each place in both, in the same order"};
      })
      .measure(measure)
      .save(save)
      .recall(recall)
      .remarks(remarks);
}

}  // namespace pw::camera_kind
