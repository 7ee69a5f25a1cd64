#include "comp/colour/layer.h"

#include "comp/spec/declare.h"

namespace pw::layer_kind {
namespace {

struct LayerParams {
  PorterDuff op = PorterDuff::over;
  BlendMode blend = BlendMode::normal;
  Animated opacity = 1.0;
};
enum { kBack, kFront, kMask };

template <class T, class F>
std::vector<std::string_view> names(T all, F name) {
  std::vector<std::string_view> v;
  for (auto x : all) v.push_back(name(x));
  return v;
}

Rect extent(const LayerParams&, const Ask& a) {
  const Rect back = a.inputs[kBack][0].extent, front = a.inputs[kFront][0].extent;
  return unite(back, a.has(kMask) ? intersect(front, a.inputs[kMask][0].extent) : front);
}

Picture make(const LayerParams& p, const Making& m) {
  const Picture* mask = m.has(kMask) ? &m.picture(kMask) : nullptr;
  return layer(m.picture(kBack), m.picture(kFront), mask, {p.op, p.blend, p.opacity.at(m.frame)}, m.rect);
}

}  // namespace

Kind declare() {
  return Declare<LayerParams>("layer", Family::maker, 1, "One picture laid on another.")
      .also({"over", "composite", "comp"})
      .input({"back", Flow::picture, "What lies behind; where the mask is 0 its pixels stay as they are."})
      .input({"front", Flow::picture, "What is laid on it."})
      .input({.name = "mask",
              .flow = Flow::matte,
              .doc = "Where the front is laid; everywhere without one.",
              .required = false})
      .output({"image", Flow::picture, "Both together."})
      .param("operator", &LayerParams::op,
             {.doc = "How the two share a pixel (Porter and Duff 1984).",
              .choices = names(all_porter_duff(), [](PorterDuff o) { return name(o); })})
      .param("blend", &LayerParams::blend,
             {.doc = "How their colours mix where both are (W3C Compositing and Blending Level 1), in linear light.",
              .choices = names(all_blend_modes(), [](BlendMode b) { return name(b); })})
      .param("opacity", &LayerParams::opacity,
             {.doc = "How much of the front is laid.", .unit = Unit::fraction, .min = 0, .max = 1, .low = 0, .high = 1})
      .extent(extent)
      .make(make);
}

}  // namespace pw::layer_kind
