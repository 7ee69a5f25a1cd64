#include "comp/matte/edge.h"

#include "comp/spec/declare.h"

namespace pw::edge_kind {
namespace {

struct EdgeParams {
  Animated choke_px = 0.0, spread_px = 0.0, feather_px = 0.0;
};
enum { kMatte };

EdgeMove move_at(const EdgeParams& p, const Ask& a) {
  return {a.shot.px(p.spread_px.at(a.frame) - p.choke_px.at(a.frame)), a.shot.px(p.feather_px.at(a.frame))};
}

// Where a matte ends at the border of the plate it goes on beyond it: a thing that leaves the picture is not eaten from
// there. Everywhere else it is clear outside its window.
struct Beyond {
  Rect window;
  bool left, top, right, bottom;

  explicit Beyond(const Ask& a) : window(a.inputs[kMatte][0].extent) {
    const Rect c = a.shot.canvas();
    left = window.x0 == c.x0, top = window.y0 == c.y0, right = window.x1 == c.x1, bottom = window.y1 == c.y1;
  }
  int x(int at) const { return at < window.x0 && left ? window.x0 : at >= window.x1 && right ? window.x1 - 1 : at; }
  int y(int at) const { return at < window.y0 && top ? window.y0 : at >= window.y1 && bottom ? window.y1 - 1 : at; }

  Rect grown(int by) const {
    return {window.x0 - (left ? 0 : by), window.y0 - (top ? 0 : by), window.x1 + (right ? 0 : by),
            window.y1 + (bottom ? 0 : by)};
  }
  Picture held(const Picture& p, const Rect& rect) const {
    Canvas out = Canvas::copy(p, rect);
    for (int y = rect.y0; y < rect.y1; ++y)
      for (int x = rect.x0; x < rect.x1; ++x) {
        if (window.contains(x, y)) continue;
        const int fx = this->x(x), fy = this->y(y);
        if (p.window().contains(fx, fy)) *out.at(x, y) = *p.at(fx, fy);
      }
    return std::move(out).finish();
  }
};

std::vector<Demand> needs(const EdgeParams& p, const Ask& a) {
  return {{kMatte, 0, a.frame, a.rect.grown(edge_reach(move_at(p, a)))}};
}

Picture make(const EdgeParams& p, const Making& m) {
  const EdgeMove move = move_at(p, m);
  const Beyond beyond(m);
  if (beyond.window == kEverywhere) return m.picture(kMatte).cropped(m.rect);
  return edge_moved(beyond.held(m.picture(kMatte), m.rect.grown(edge_reach(move))), move, m.rect);
}

Rect extent(const EdgeParams& p, const Ask& a) {
  const Beyond beyond(a);
  return beyond.window.empty() || beyond.window == kEverywhere ? beyond.window
                                                               : beyond.grown(edge_reach(move_at(p, a)));
}

}  // namespace

Kind declare() {
  return Declare<EdgeParams>("edge", Family::maker, 1, "A matte with its edge moved in or out, or softened.")
      .also({"erode", "dilate", "grow", "shrink"})
      .input({"matte", Flow::matte, "Sharp edges stay sharp, soft ones keep their softness."})
      .output({"matte", Flow::matte, "The matte."})
      .param("choke_px", &EdgeParams::choke_px,
             {.doc = "Moves the edge inward, also by parts of a pixel.",
              .unit = Unit::px,
              .min = 0,
              .max = 128,
              .low = 0,
              .high = 8})
      .param("spread_px", &EdgeParams::spread_px,
             {.doc = "Moves the edge outward, also by parts of a pixel.",
              .unit = Unit::px,
              .min = 0,
              .max = 128,
              .low = 0,
              .high = 8})
      .param("feather_px", &EdgeParams::feather_px,
             {.doc = "Softness: 0 this far outside the moved edge, 1 this far inside.",
              .unit = Unit::px,
              .min = 0,
              .max = 128,
              .low = 0,
              .high = 8})
      .rule([](const EdgeParams&, const Given& given) -> std::optional<Complaint> {
        if (given("choke_px") && given("spread_px"))
          return Complaint{"spread_px", "stands beside choke_px", "an edge moves one way: take one out"};
        return std::nullopt;
      })
      .needs(needs)
      .extent(extent)
      .make(make);
}

}  // namespace pw::edge_kind
