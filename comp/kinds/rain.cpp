#include "comp/weather/rain.h"

#include <cmath>

#include "comp/matte/combine.h"
#include "comp/spec/declare.h"
#include "comp/weather/drops.h"

namespace pw::rain_kind {
namespace {

struct RainParams {
  Animated rain_mm_h = 10.0;
  double view_deg = 50;
  double wind_m_s = 0;
  double near_m = 1, far_m = 10;
  double focus_m = 20, aperture_mm = 8;
  Animated light_stops = 0.0;
  double hidden_m = 0;
  bool keep_level = false;
  int64_t seed = 1;
};
enum { kPlate, kHidden, kLike };

std::vector<Demand> needs(const RainParams&, const Ask& a) {
  std::vector<Demand> demands{{kPlate, 0, a.frame, a.shot.canvas()}};
  for (size_t i = 0; i < a.inputs[kHidden].size(); ++i)
    demands.push_back({kHidden, static_cast<int>(i), a.frame, a.rect});
  return demands;
}

Picture make(const RainParams& p, const Making& m) {
  const Rect canvas = m.shot.canvas();
  const Rainfall fall{.width = canvas.width(),
                      .height = canvas.height(),
                      .focal_px = canvas.width() / 2.0 / std::tan(p.view_deg * M_PI / 360),
                      .near_m = p.near_m,
                      .far_m = p.far_m,
                      .wind_m_s = p.wind_m_s,
                      .exposure_s = m.shot.shutter_deg / 360 / m.shot.rate,
                      .seed = static_cast<uint64_t>(p.seed)};
  RainLook look{.focus_m = p.focus_m, .aperture_mm = p.aperture_mm, .keep_level = p.keep_level};
  const double rain_mm_h = p.rain_mm_h.at(m.frame);
  if (m.has(kLike)) {
    const std::array<double, 3>& share = m.noise(kLike).rain;
    if (share == std::array<double, 3>{}) return Canvas::clear(m.rect, 4).finish();
    look.light = light_that_adds(share, fall, look, rain_mm_h);
  }
  for (double& l : look.light) l *= std::exp2(p.light_stops.at(m.frame));
  const Surroundings around = around_drops(m.picture(kPlate), canvas);
  std::vector<Picture> mattes;
  for (size_t i = 0; i < m.inputs[kHidden].size(); ++i) mattes.push_back(m.get(kHidden, static_cast<int>(i), m.frame));
  const Picture hidden = added(mattes, m.rect);
  return rain(fall, look, around, rain_mm_h, m.frame / m.shot.rate, mattes.empty() ? nullptr : &hidden, p.hidden_m,
              m.rect);
}

}  // namespace

Kind declare() {
  return Declare<RainParams>("rain", Family::maker, 3, "Falling rain, to be laid over a picture.")
      .restless()
      .whole()
      .input({"plate", Flow::picture, "What lights the drops: the shot the rain falls in."})
      .input({.name = "hidden",
              .flow = Flow::matte,
              .doc = "What stands in front of the rain.",
              .required = false,
              .list = true})
      .input(
          {.name = "like",
           .flow = Flow::noise,
           .doc =
               "What was measured of the plate: the drops are as bright as lets them add, on average, the light that "
               "the plate's own rain adds. Where it tells of no rain, none falls.",
           .required = false})
      .output({"image", Flow::picture, "The drops' light, and as alpha how much they cover."})
      .param("rain_mm_h", &RainParams::rain_mm_h,
             {.doc = "How hard it rains, mm an hour: up to 2.5 is light rain, above 7.6 heavy.",
              .min = 0,
              .max = kHeaviestRain,
              .low = 0,
              .high = 50})
      .param("view_deg", &RainParams::view_deg,
             {.doc = "What the lens sees from left to right.",
              .unit = Unit::deg,
              .min = 1,
              .max = 160,
              .low = 20,
              .high = 90})
      .param("wind_m_s", &RainParams::wind_m_s,
             {.doc = "Wind across the picture, to the right, metres a second.",
              .min = -60,
              .max = 60,
              .low = -8,
              .high = 8})
      .param("near_m", &RainParams::near_m,
             {.doc = "Nearer than this, metres, no drop falls.", .min = 0.1, .max = 100, .low = 0.5, .high = 5})
      .param("far_m", &RainParams::far_m,
             {.doc = "Farther than this, metres, none is drawn: there it is mist, or there is a wall.",
              .min = 0.2,
              .max = 200,
              .low = 5,
              .high = 15})
      .param(
          "focus_m", &RainParams::focus_m,
          {.doc = "How far away, metres, what the lens is focused on.", .min = 0.1, .max = 1e6, .low = 2, .high = 50})
      .param("aperture_mm", &RainParams::aperture_mm,
             {.doc = "The lens's opening, mm (its focal length through its f-number); 0: near drops are sharp too.",
              .min = 0,
              .max = 200,
              .low = 0,
              .high = 30})
      .param("light_stops", &RainParams::light_stops,
             {.doc = "Brighter or darker than the plate's own light around the drops.",
              .unit = Unit::stops,
              .min = -20,
              .max = 20,
              .low = -2,
              .high = 3})
      .param("hidden_m", &RainParams::hidden_m,
             {.doc = "How far away, metres, what is hidden by stands: nearer drops fall before it. 0: none do.",
              .min = 0,
              .max = 200,
              .low = 0,
              .high = 20})
      .param("keep_level", &RainParams::keep_level,
             {.doc = "Takes the light it adds on average off again: for laying it over what has its own rain's average "
                     "in it already, as a still of rainy frames has."})
      .param("seed", &RainParams::seed,
             {.doc = "Other drops of the same rain.", .min = 0, .max = 4294967295, .low = 0, .high = 100})
      .rule([](const RainParams& p, const Given&) -> std::optional<Complaint> {
        if (p.far_m > p.near_m) return std::nullopt;
        return Complaint{"far_m", "is not farther away than near_m", "rain falls between the two"};
      })
      .needs(needs)
      .extent([](const RainParams&, const Ask& a) { return a.shot.canvas(); })
      .make(make);
}

}  // namespace pw::rain_kind
