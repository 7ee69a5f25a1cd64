#include "comp/repair/degrain.h"

#include <algorithm>

#include "comp/spec/declare.h"

namespace pw::degrain_kind {
namespace {

struct DegrainParams {
  double strength = 1;
};
enum { kImage, kNoise };

double left(const Ask& a) {
  const Still* still = a.inputs[kImage][0].still;
  return still ? still->grain_share : 1;
}

std::vector<Demand> needs(const DegrainParams&, const Ask& a) {
  return {{kImage, 0, a.frame, a.rect.grown(kDegrainReach)}};
}

Picture make(const DegrainParams& p, const Making& m) {
  // Averaging 1 / scale^2 pixels leaves less of it.
  return degrained(m.picture(kImage), m.noise(kNoise), p.strength * left(m) * std::min(1.0, m.shot.scale), m.rect);
}

}  // namespace

Kind declare() {
  return Declare<DegrainParams>("degrain", Family::maker, 2,
                                "The grain that is frozen into a still, taken out before it is pinned.")
      .also({"denoise", "noise reduction"})
      .input({"image", Flow::picture, "The still: of one frame, or of several, which have lost some already."})
      .input({"noise", Flow::noise, "The plate's grain."})
      .output({"image", Flow::picture, "The still without grain."})
      .param("strength", &DegrainParams::strength,
             {.doc = "How much grain is expected, against what a still of that many frames should have left; 0: none.",
              .unit = Unit::fraction,
              .min = 0,
              .max = 8,
              .low = 0,
              .high = 2})
      .needs(needs)
      .extent([](const DegrainParams&, const Ask& a) { return a.inputs[kImage][0].extent; })
      .make(make);
}

}  // namespace pw::degrain_kind
