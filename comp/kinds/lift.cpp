#include "comp/repair/lift.h"

#include "comp/spec/declare.h"

namespace pw::lift_kind {
namespace {

struct LiftParams {
  double near_px = 8;
  double steady = 0.05;
  double shadow_soft_px = 2;
};
enum { kImage, kClean, kMatte, kShadow };
enum { kThing, kItsShadow };

LiftOptions options_of(const LiftParams& p, const Shot& s, bool guessed = false) {
  return {s.px(p.near_px), p.steady, s.px(p.shadow_soft_px), guessed};
}

std::vector<Demand> needs(const LiftParams& p, const Ask& a) {
  const LiftOptions o = options_of(p, a.shot);
  const bool shadow = a.output == kItsShadow;
  const int reach = shadow ? lift_shadow_reach(o) : lift_reach(o);
  const Rect wide = a.rect.grown(a.has(kClean) ? reach : 2 * reach);
  std::vector<Demand> d{{kImage, 0, a.frame, wide}, {kMatte, 0, a.frame, wide}};
  if (a.has(kClean)) d.push_back({kClean, 0, a.frame, wide});
  if (shadow && a.has(kShadow)) d.push_back({kShadow, 0, a.frame, a.rect});
  return d;
}

Picture make(const LiftParams& p, const Making& m) {
  const LiftOptions o = options_of(p, m.shot, !m.has(kClean));
  if (m.output == kThing) {
    const Picture &image = m.picture(kImage), &matte = m.picture(kMatte);
    const Picture behind =
        m.has(kClean) ? m.picture(kClean) : guessed_behind(image, matte, o, m.rect.grown(lift_reach(o)));
    return lifted(image, behind, matte, o, m.rect);
  }
  if (!m.has(kShadow)) return Canvas::clear(m.rect, 4).finish();
  return lifted_shadow(m.picture(kImage), m.picture(kClean), m.picture(kMatte), m.picture(kShadow), o, m.rect);
}

}  // namespace

Kind declare() {
  return Declare<LiftParams>("lift", Family::maker, 2,
                             "Cuts out what stands before a background, without that background in its edge.")
      .also({"unmix", "cut out"})
      .input({"image", Flow::picture, "The shot it stands in."})
      .input({.name = "clean",
              .flow = Flow::picture,
              .doc = "The same without it; none: what stands behind its edge is guessed from what is seen beside it.",
              .required = false})
      .input({"matte", Flow::matte, "How much of each pixel it covers."})
      .input({.name = "shadow", .flow = Flow::matte, .doc = "Where its shadow falls.", .required = false})
      .output({"image", Flow::picture, "The thing alone, to be laid on another background."})
      .output(
          {"shadow", Flow::picture, "What its shadow leaves of the light, to be laid on it with blend = \"multiply\"."})
      .param("near_px", &LiftParams::near_px,
             {.doc = "How far around its edge the thing's own colour is looked for.",
              .unit = Unit::px,
              .min = 0,
              .max = 64,
              .low = 1,
              .high = 32})
      .param("steady", &LiftParams::steady,
             {.doc = "Where less of a pixel is covered than this, the colour nearby counts more than the pixel's own.",
              .unit = Unit::fraction,
              .min = 0,
              .max = 1,
              .low = 0,
              .high = 0.5})
      .param("shadow_soft_px", &LiftParams::shadow_soft_px,
             {.doc = "Blur of the shadow, as little as hides the grain.",
              .unit = Unit::px,
              .min = 0,
              .max = 64,
              .low = 0,
              .high = 16})
      .rule([](const LiftParams&, const Given& given) -> std::optional<Complaint> {
        if (!given("shadow") || given("clean")) return std::nullopt;
        return Complaint{"shadow", "is given without clean", "give clean: the shadow is told from what it fell on"};
      })
      .needs(needs)
      .extent([](const LiftParams&, const Ask& a) {
        const Rect thing = intersect(a.inputs[kImage][0].extent, a.inputs[kMatte][0].extent);
        return a.has(kShadow) ? unite(thing, a.inputs[kShadow][0].extent) : thing;
      })
      .make(make);
}

}  // namespace pw::lift_kind
