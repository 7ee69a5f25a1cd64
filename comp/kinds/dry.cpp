#include "comp/repair/dry.h"

#include "comp/spec/declare.h"

namespace pw::dry_kind {
namespace {

struct DryParams {
  double amount = 1;
};
enum { kImage, kNoise };

// What the rain lightens depends on the light all around.
std::vector<Demand> needs(const DryParams&, const Ask& a) {
  return {{kImage, 0, a.frame, unite(a.rect, a.shot.canvas())}};
}

Picture make(const DryParams& p, const Making& m) {
  const Picture& image = m.picture(kImage);
  std::array<double, 3> rain = m.noise(kNoise).rain;
  for (double& r : rain) r *= p.amount;
  return dried(image, rain, around_drops(image, m.shot.canvas()), m.rect);
}

}  // namespace

Kind declare() {
  return Declare<DryParams>(
             "dry", Family::maker, 1,
             "Takes off a pinned still the light that the plate's rain adds on average, so that new rain "
             "can fall on it.")
      .whole()
      .input({"image", Flow::picture, "The still, pinned: of a rainy plate, its streaks lost among several frames."})
      .input({"noise", Flow::noise, "What was measured of the plate."})
      .output({"image", Flow::picture, "The still as it would be without rain."})
      .param("amount", &DryParams::amount,
             {.doc = "How much of it: 1 as measured, 0 none.",
              .unit = Unit::fraction,
              .min = 0,
              .max = 4,
              .low = 0,
              .high = 2})
      .needs(needs)
      .extent([](const DryParams&, const Ask& a) { return a.inputs[kImage][0].extent; })
      .make(make);
}

}  // namespace pw::dry_kind
