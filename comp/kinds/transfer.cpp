#include <fmt/format.h>

#include "comp/kinds/stored_motion.h"
#include "comp/spec/declare.h"
#include "track/arithmetic.h"

namespace pw::transfer_kind {
namespace {

struct Transfer {
  bool move = true, turn = true, scale = true, rest = true;
  bool inverse = false;
  std::vector<double> about_px, place_px;
};
enum { kMotion, kAgainst, kOnto };

std::optional<Point> point(const std::vector<double>& p) {
  if (p.size() != 2) return std::nullopt;
  return Point(p[0], p[1]);
}

Result<Measured> measure(const Transfer& p, const Measuring& m) {
  const Arithmetic a{{p.move, p.turn, p.scale, p.rest}, p.inverse, point(p.about_px), point(p.place_px)};
  auto made = derived(m.motion(kMotion), m.has(kAgainst) ? &m.motion(kAgainst) : nullptr,
                      m.has(kOnto) ? &m.motion(kOnto) : nullptr, a);
  if (!made) return fail(made.error());
  return Measured(std::move(*made));
}

Problems remarks(const Measured& m) {
  int lost = 0;
  const Pose* first = nullptr;
  for (const Pose& p : std::get<Motion>(m).poses)
    if (p.status == TrackStatus::lost && lost++ == 0) first = &p;
  if (!lost) return {};
  return {{.what = fmt::format("lost on {} frames, the first is {}: {}", lost, first->frame, first->reason),
           .remedy = "mend the motions it is made from",
           .severity = Severity::warning}};
}

}  // namespace

Kind declare() {
  const auto one_point = [](const std::vector<double>& p, std::string_view name) -> std::optional<Complaint> {
    if (p.empty() || p.size() == 2) return std::nullopt;
    return Complaint{name, "is not one point", fmt::format("write {} = [x, y]", name)};
  };
  return Declare<Transfer>("transfer", Family::measure, 1,
                           "A motion made from others: relative, inverse, in part, given to another place.")
      .also({"relative motion", "inverse", "parent"})
      .input({"motion", Flow::motion, "What it is made from."})
      .input({.name = "against",
              .flow = Flow::motion,
              .doc = "What is held still: what is left is the motion relative to it.",
              .required = false})
      .input({.name = "onto",
              .flow = Flow::motion,
              .doc = "What the result is carried by: it moves with this, and beside it as told.",
              .required = false})
      .output({"motion", Flow::motion, "The motion."})
      .param("move", &Transfer::move, {.doc = "Keep the move of the point it turns about."})
      .param("turn", &Transfer::turn, {.doc = "Keep the turn."})
      .param("scale", &Transfer::scale, {.doc = "Keep the change of size."})
      .param("rest", &Transfer::rest, {.doc = "Keep stretch, shear and perspective."})
      .param("inverse", &Transfer::inverse, {.doc = "The other way round: what undoes the motion."})
      .param("about_px", &Transfer::about_px,
             {.doc = "The point it turns about, in the reference frame; without one the middle of the region.",
              .unit = Unit::px,
              .min = -65536,
              .max = 65536,
              .example = "[480, 270]"})
      .param("place_px", &Transfer::place_px,
             {.doc = "Where that point lies in what is to be moved; without one where it is.",
              .unit = Unit::px,
              .min = -65536,
              .max = 65536,
              .example = "[120, 300]"})
      .rule([one_point](const Transfer& p, const Given&) { return one_point(p.about_px, "about_px"); })
      .rule([one_point](const Transfer& p, const Given&) { return one_point(p.place_px, "place_px"); })
      .measure(measure)
      .save(save_motion)
      .recall(recall_motion)
      .remarks(remarks);
}

}  // namespace pw::transfer_kind
