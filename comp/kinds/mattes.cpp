#include "comp/matte/combine.h"
#include "comp/spec/declare.h"

namespace pw::mattes_kind {
namespace {

struct MattesParams {
  bool invert = false;
  double feather_px = 0;
};
enum { kAdd, kCut };

int reach(const MattesParams& p, const Ask& a) { return p.feather_px > 0 ? feather_reach(a.shot.px(p.feather_px)) : 0; }

std::vector<Demand> needs(const MattesParams& p, const Ask& a) {
  std::vector<Demand> demands;
  const Rect wide = a.rect.grown(reach(p, a));
  for (int input : {kAdd, kCut})
    for (size_t i = 0; i < a.inputs[input].size(); ++i) demands.push_back({input, static_cast<int>(i), a.frame, wide});
  return demands;
}

Picture all_of(const Making& m, int input, const Rect& rect) {
  std::vector<Picture> mattes;
  for (size_t i = 0; i < m.inputs[input].size(); ++i) mattes.push_back(m.get(input, static_cast<int>(i), m.frame));
  return added(mattes, rect);
}

Picture make(const MattesParams& p, const Making& m) {
  const Rect wide = m.rect.grown(reach(p, m));
  Picture sum = all_of(m, kAdd, wide);
  if (m.has(kCut)) sum = cut(sum, all_of(m, kCut, wide), wide);
  if (p.feather_px > 0) sum = feathered(sum, m.shot.px(p.feather_px), m.rect);
  return p.invert ? inverted(sum, m.rect) : sum.cropped(m.rect);
}

Rect extent(const MattesParams& p, const Ask& a) {
  if (p.invert) return kEverywhere;
  Rect r;
  for (const Connection& c : a.inputs[kAdd]) r = unite(r, c.extent);
  return r == kEverywhere ? r : r.grown(reach(p, a));
}

}  // namespace

Kind declare() {
  return Declare<MattesParams>("mattes", Family::maker, 1, "Mattes put together: some added, others cut away.")
      .also({"matte", "holdout"})
      .input({.name = "add", .flow = Flow::matte, .doc = "Where any of these is.", .list = true})
      .input({.name = "cut", .flow = Flow::matte, .doc = "But none of these.", .required = false, .list = true})
      .output({"matte", Flow::matte, "The matte."})
      .param("invert", &MattesParams::invert, {.doc = "1 outside instead of inside."})
      .param("feather_px", &MattesParams::feather_px,
             {.doc = "Blurs the edge: from about 0 this far outside to about 1 this far inside.",
              .unit = Unit::px,
              .min = 0,
              .max = 512,
              .low = 0,
              .high = 32})
      .needs(needs)
      .extent(extent)
      .make(make);
}

}  // namespace pw::mattes_kind
