#include <cmath>

#include "comp/spec/declare.h"

namespace pw::colour_kind {
namespace {

struct Colour {
  std::vector<double> value = {0.18, 0.18, 0.18};
};

Picture fill(const Colour& p, const Making& m) {
  float v[4];
  const int channels = static_cast<int>(p.value.size());
  const double alpha = channels == 4 ? p.value[3] : 1;
  for (int k = 0; k < channels; ++k) v[k] = static_cast<float>(k < 3 ? p.value[k] * alpha : alpha);
  return Canvas::filled(m.rect, channels, v).finish();
}

}  // namespace

Kind declare() {
  return Declare<Colour>("colour", Family::maker, 1, "One colour everywhere.")
      .also({"color"})
      .output({"image", Flow::picture, "The colour, wherever one looks."})
      .param(
          "value", &Colour::value,
          {.doc = "Red, green, blue in scene-linear light (0.18 is mid grey), and alpha when there is a fourth number.",
           .min = 0,
           .max = 65504,
           .low = 0,
           .high = 1,
           .example = "[0.2, 0.4, 0.1]"})
      .rule([](const Colour& p, const Given&) -> std::optional<Complaint> {
        if (p.value.size() == 3 || (p.value.size() == 4 && p.value[3] <= 1)) return std::nullopt;
        if (p.value.size() == 4) return Complaint{"value", "has an alpha above 1", "alpha may be 0 to 1"};
        return Complaint{"value", "has " + std::to_string(p.value.size()) + " numbers",
                         "write red, green, blue, and alpha if you need it"};
      })
      .extent([](const Colour&, const Ask&) { return kEverywhere; })
      .make(fill);
}

}  // namespace pw::colour_kind
