#include "warp/defocus.h"

#include "base/alpha.h"
#include "comp/spec/declare.h"
#include "warp/beyond.h"

namespace pw::defocus_kind {
namespace {

struct DefocusParams {
  Animated radius_px = 0.0;
  int64_t blades = 0;
  double turn_deg = 0;
  Edge edge = Edge::hold;
};
enum { kImage };

Aperture aperture_at(const DefocusParams& p, const Ask& a) {
  return {a.shot.px(p.radius_px.at(a.frame)), static_cast<int>(p.blades), p.turn_deg};
}

std::vector<Demand> needs(const DefocusParams& p, const Ask& a) {
  const Rect window = a.inputs[kImage][0].extent;
  if (window == kEverywhere) return {{kImage, 0, a.frame, a.rect}};
  return {{kImage, 0, a.frame, beyond_reach(window, p.edge, a.rect.grown(defocus_reach(aperture_at(p, a))))}};
}

Picture make(const DefocusParams& p, const Making& m) {
  const Rect window = m.inputs[kImage][0].extent;
  if (window == kEverywhere) return m.picture(kImage).cropped(m.rect);  // One colour stays what it is.
  const Aperture aperture = aperture_at(p, m);
  const Rect wide = m.rect.grown(defocus_reach(aperture));
  const Picture part = m.picture(kImage).cropped(beyond_reach(window, p.edge, wide));
  // What blurs over the picture's border must be able to be clear.
  const Picture whole = with_beyond(p.edge == Edge::clear ? with_alpha(part) : part, window, p.edge, wide);
  return defocused(whole, aperture, m.rect);
}

}  // namespace

Kind declare() {
  return Declare<DefocusParams>("defocus", Family::maker, 1, "Blurs as a lens does that is not in focus.")
      .also({"blur", "bokeh", "lens blur", "rack focus"})
      .input({"image", Flow::picture, "What is out of focus."})
      .output({"image", Flow::picture, "Every point an even picture of the lens's opening."})
      .param("radius_px", &DefocusParams::radius_px,
             {.doc = "Of the picture of a point, also parts of a pixel.",
              .unit = Unit::px,
              .min = 0,
              .max = 256,
              .low = 0,
              .high = 20})
      .param("blades", &DefocusParams::blades,
             {.doc = "Of the lens's opening; 0: it is round.", .min = 0, .max = 32, .low = 0, .high = 9})
      .param("turn_deg", &DefocusParams::turn_deg,
             {.doc = "Turns the blades, clockwise; a corner is on top at 0.",
              .unit = Unit::deg,
              .min = -360,
              .max = 360,
              .low = 0,
              .high = 90})
      .param("edge", &DefocusParams::edge,
             {.doc = "Beyond the picture: nothing, its outermost pixels, or its reflection.",
              .choices = {"clear", "hold", "mirror"}})
      .rule([](const DefocusParams& p, const Given&) -> std::optional<Complaint> {
        if (p.blades == 0 || p.blades >= 3) return std::nullopt;
        return Complaint{"blades", "are fewer than three", "write 0 for a round opening, or 5 to 9"};
      })
      .needs(needs)
      .extent([](const DefocusParams& p, const Ask& a) {
        const Rect window = a.inputs[kImage][0].extent;
        return p.edge == Edge::clear && window != kEverywhere ? window.grown(defocus_reach(aperture_at(p, a))) : window;
      })
      .make(make);
}

}  // namespace pw::defocus_kind
