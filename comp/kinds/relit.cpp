#include "comp/colour/relight.h"
#include "comp/spec/declare.h"

namespace pw::relit_kind {
namespace {

struct RelitParams {
  Animated amount = 1.0;
};
enum { kImage, kLight };

Picture make(const RelitParams& p, const Making& m) {
  return relit(m.picture(kImage), m.light(kLight), m.frame, p.amount.at(m.frame), m.shot.scale, m.rect);
}

}  // namespace

Kind declare() {
  return Declare<RelitParams>("relit", Family::maker, 1, "A pinned still in the light of each frame.")
      .also({"relight"})
      .input({"image", Flow::picture, "What is lit: the pinned still the light was measured against."})
      .input({"light", Flow::light, "The light it gets."})
      .output({"image", Flow::picture, "The picture in that light."})
      .param("amount", &RelitParams::amount,
             {.doc = "How much of the change: 1 as measured, 0 none.",
              .unit = Unit::fraction,
              .min = 0,
              .max = 4,
              .low = 0,
              .high = 2})
      .extent([](const RelitParams&, const Ask& a) { return a.inputs[kImage][0].extent; })
      .make(make);
}

}  // namespace pw::relit_kind
