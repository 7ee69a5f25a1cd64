#include "track/camera.h"

#include <fmt/format.h>

#include <array>
#include <cmath>

#include "comp/kinds/stored_json.h"
#include "comp/spec/declare.h"
#include "track/camera_two_planes.h"

namespace pw::camera_kind {
namespace {

struct CameraParams {
  Stands stands = Stands::ground;
  Polygon points_px, points_m;
  double focal_px = 0;
  double click_px = 0.3;
  Stands second_stands = Stands::upright;
  bool square = false;
};
enum { kMotion, kSecond };

Result<Camera> found(const CameraParams& p, const Measuring& m) {
  const Motion& motion = m.motion(kMotion);
  const Polygon& image_points = p.points_px.empty() ? motion.region : p.points_px;
  if (!m.has(kSecond))
    return find_camera(motion, {.stands = p.stands,
                                .image_points = image_points,
                                .plane_points = p.points_m,
                                .focal_px = p.focal_px,
                                .click_px = p.click_px});
  return find_camera(motion, m.motion(kSecond),
                     {.first = p.stands,
                      .second = p.second_stands,
                      .square = p.square,
                      .image_points = image_points,
                      .plane_points = p.points_m,
                      .focal_px = p.focal_px,
                      .click_px = p.click_px});
}

Result<Measured> measure(const CameraParams& p, const Measuring& m) {
  auto camera = found(p, m);
  if (!camera) return fail(camera.error());
  return Measured(std::move(*camera));
}

// The numbers of a camera by name.
auto numbers_of(auto& c) {
  return std::array{std::pair{"focal_px", &c.focal_px},      std::pair{"focal_sd_px", &c.focal_sd_px},
                    std::pair{"height_m", &c.height_m},      std::pair{"height_sd_m", &c.height_sd_m},
                    std::pair{"tilt_deg", &c.tilt_deg},      std::pair{"tilt_sd_deg", &c.tilt_sd_deg},
                    std::pair{"roll_deg", &c.roll_deg},      std::pair{"roll_sd_deg", &c.roll_sd_deg},
                    std::pair{"residual_px", &c.residual_px}};
}

// "key", "size", "frame", the numbers, "horizon": its rows at the left and right end, "frame_from_ground" row by row,
// "doubt".
Result<void> save(const Measured& m, const std::string& stem, const std::string& key) {
  const Camera& c = std::get<Camera>(m);
  nlohmann::ordered_json j = {{"key", key}, {"size", {c.width, c.height}}, {"frame", c.frame}};
  for (const auto& [name, value] : numbers_of(c)) j[name] = *value;
  j["horizon"] = {c.horizon_y(0), c.horizon_y(c.width)};
  const Eigen::Matrix<double, 3, 3, Eigen::RowMajor> h = c.frame_from_ground;
  j["frame_from_ground"] = std::vector<double>(h.data(), h.data() + 9);
  j["doubt"] = c.doubt;
  return save_json(j, stem);
}

Result<Measured> recall(const std::string& stem, const std::string& key) {
  const auto stored = recall_json(stem, key);
  if (!stored) return fail(stored.error());
  Camera c;
  for (const auto& [name, value] : numbers_of(c)) {
    const auto number = stored_number(*stored, name);
    if (!number) return fail(damaged_store());
    *value = *number;
  }
  const auto size = stored_numbers(*stored, "size", 2), h = stored_numbers(*stored, "frame_from_ground", 9);
  const auto frame = stored_number(*stored, "frame");
  const auto sound = [](double v) { return v >= 1 && v < 1e6; };
  if (!size || !h || !frame || !sound((*size)[0]) || !sound((*size)[1]) || !(std::abs(*frame) < 1e8))
    return fail(damaged_store());
  c.width = static_cast<int>((*size)[0]), c.height = static_cast<int>((*size)[1]), c.frame = static_cast<int>(*frame);
  for (int i = 0; i < 9; ++i) c.frame_from_ground(i / 3, i % 3) = (*h)[i];
  if (const auto doubt = stored->find("doubt"); doubt != stored->end() && doubt->is_string())
    c.doubt = doubt->get<std::string>();
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
  return Declare<CameraParams>(
             "camera", Family::measure, 1,
             "Focal length, height and tilt of the camera: from a plane of known shape, or from two planes that it "
             "moves past and one known length.")
      .also({"focal length", "horizon", "camera solve"})
      .input({"motion", Flow::motion, "The plane."})
      .input({.name = "second",
              .flow = Flow::motion,
              .doc =
                  "Another plane of the scene, in a shot whose camera travels: two points with a known distance on the "
                  "first are then enough.",
              .required = false})
      .output({"camera", Flow::camera, "The camera in the reference frame."})
      .param("stands", &CameraParams::stands,
             {.doc = "Which way the plane lies: on the ground, or upright.", .choices = {"ground", "upright"}})
      .param(
          "points_px", &CameraParams::points_px,
          {.doc = "Places on the plane in the reference frame, four or more, with a second plane two or more; without "
                  "them the region's corners.",
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
      .param("second_stands", &CameraParams::second_stands,
             {.doc = "Which way the second plane lies.", .choices = {"ground", "upright"}})
      .param(
          "square", &CameraParams::square,
          {.doc = "Two upright planes meet at right angles, as the sides of a house; the ground and an upright plane "
                  "always do."})
      .rule([](const CameraParams& p, const Given& given) -> std::optional<Complaint> {
        const bool two = given("second");
        for (const char* key : {"second_stands", "square"})
          if (!two && given(key)) return Complaint{key, "is of a second plane", "say which: second = \"NODE\""};
        if (two && p.stands == Stands::ground && p.second_stands == Stands::ground)
          return Complaint{"second_stands", "puts both planes on the ground", "the camera needs an upright one"};
        if (!two && p.points_m.size() < 4)
          return Complaint{"points_m", fmt::format("has {} points", p.points_m.size()),
                           "a camera needs 4 or more, or a second plane"};
        if (p.points_m.size() < 2)
          return Complaint{"points_m", fmt::format("has {} points", p.points_m.size()), "a length needs 2 or more"};
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
