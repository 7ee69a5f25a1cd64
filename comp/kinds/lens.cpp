#include "base/lens.h"

#include <fmt/format.h>

#include "comp/kinds/stored_json.h"
#include "comp/spec/declare.h"

namespace pw::lens_kind {
namespace {

struct LensParams {
  double k1 = 0, k2 = 0;
};

Result<Measured> measure(const LensParams& p, const Measuring&) { return Measured(Lens{p.k1, p.k2}); }

Result<void> save(const Measured& m, const std::string& stem, const std::string& key) {
  const Lens& l = std::get<Lens>(m);
  return save_json({{"key", key}, {"k1", l.k1}, {"k2", l.k2}, {"k1_sd", l.k1_sd}, {"k2_sd", l.k2_sd}}, stem);
}

Result<Measured> recall(const std::string& stem, const std::string& key) {
  const auto stored = recall_json(stem, key);
  if (!stored) return fail(stored.error());
  Lens lens;
  for (const auto& [name, value] : {std::pair{"k1", &lens.k1}, std::pair{"k2", &lens.k2},
                                    std::pair{"k1_sd", &lens.k1_sd}, std::pair{"k2_sd", &lens.k2_sd}}) {
    const auto number = stored_number(*stored, name);
    if (!number) return fail(damaged_store());
    *value = *number;
  }
  if (!covers_picture(lens)) return fail(damaged_store());
  return Measured(lens);
}

}  // namespace

Kind declare() {
  return Declare<LensParams>("lens", Family::measure, 1, "How the lens bends straight lines: radial distortion.")
      .also({"distortion", "undistort", "barrel", "pincushion"})
      .output({"lens", Flow::lens, "The lens, for a plane."})
      .param("k1", &LensParams::k1,
             {.doc = "A point at r (half the picture's diagonal is 1) is seen at r (1 + k1 r^2 + k2 r^4). Below 0: "
                     "barrel; above: pincushion.",
              .min = -1,
              .max = 1,
              .low = -0.3,
              .high = 0.3})
      .param("k2", &LensParams::k2, {.doc = "See k1.", .min = -1, .max = 1, .low = -0.1, .high = 0.1})
      .rule([](const LensParams& p, const Given&) -> std::optional<Complaint> {
        if (covers_picture({p.k1, p.k2})) return std::nullopt;
        return Complaint{"k1", fmt::format("is {} and k2 is {}: the picture folds over", p.k1, p.k2),
                         "k1 is above -0.26 when k2 is 0"};
      })
      .measure(measure)
      .save(save)
      .recall(recall);
}

}  // namespace pw::lens_kind
