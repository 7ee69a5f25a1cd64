#include "comp/weather/grain.h"

#include "comp/spec/declare.h"

namespace pw::grain_kind {
namespace {

struct GrainParams {
  Animated amount = 1.0;
  int64_t seed = 1;
};
enum { kImage, kNoise };

Picture make(const GrainParams& p, const Making& m) {
  return add_grain(m.picture(kImage), grain_recipe(m.noise(kNoise)), static_cast<uint64_t>(p.seed), m.frame,
                   p.amount.at(m.frame), m.shot.scale, m.rect);
}

}  // namespace

Kind declare() {
  return Declare<GrainParams>("grain", Family::maker, 1, "New grain that matches a plate's, different on every frame.")
      .also({"regrain", "add noise"})
      .restless()
      .input({"image", Flow::picture, "What gets grain: a picture without any, in its final light."})
      .input({"noise", Flow::noise, "The grain it is to match."})
      .output({"image", Flow::picture, "The picture with grain."})
      .param(
          "amount", &GrainParams::amount,
          {.doc = "Strength: 1 as measured, 0 none.", .unit = Unit::fraction, .min = 0, .max = 16, .low = 0, .high = 2})
      .param("seed", &GrainParams::seed,
             {.doc = "Another number, another grain of the same kind.", .min = 0, .max = 1000000000})
      .extent([](const GrainParams&, const Ask& a) { return a.inputs[kImage][0].extent; })
      .make(make);
}

}  // namespace pw::grain_kind
