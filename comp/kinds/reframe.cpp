#include "warp/reframe.h"

#include <cmath>

#include "base/alpha.h"
#include "comp/spec/declare.h"

namespace pw::reframe_kind {
namespace {

enum class Flip { none, sideways, upside_down, both };
struct ReframeParams {
  Animated move_x_px = 0.0, move_y_px = 0.0;
  Animated scale = 1.0;
  Animated turn_deg = 0.0;
  Flip flip = Flip::none;
  std::vector<double> about_px;
  Filter filter = Filter::sharp;
  Edge edge = Edge::clear;
  bool limit_ringing = true;
  bool smear = true;
};
enum { kImage };

std::vector<Matrix3> moments_of(const ReframeParams& p, const Ask& a) {
  const Shot& s = a.shot;
  const bool given = p.about_px.size() == 2;
  const Point about = given ? Point(p.about_px[0], p.about_px[1]) : Point(s.width / 2.0, s.height / 2.0);
  const auto at = [&](double time) {
    const double t = a.frame + time;
    return Framing{about * s.scale,
                   p.flip == Flip::sideways || p.flip == Flip::both,
                   p.flip == Flip::upside_down || p.flip == Flip::both,
                   p.scale.at(t),
                   p.turn_deg.at(t),
                   Point(s.px(p.move_x_px.at(t)), s.px(p.move_y_px.at(t)))};
  };
  return moments(at, p.smear ? s.shutter_deg : 0, s.canvas());
}

ResampleOptions options_of(const ReframeParams& p, const Rect& window) {
  return {.filter = p.filter, .edge = p.edge, .limit_ringing = p.limit_ringing, .source_window = window};
}

std::vector<Demand> needs(const ReframeParams& p, const Ask& a) {
  const Rect window = a.inputs[kImage][0].extent;
  if (window == kEverywhere) return {{kImage, 0, a.frame, a.rect}};
  return {{kImage, 0, a.frame, reframe_reach(moments_of(p, a), a.rect, window, options_of(p, window))}};
}

Picture make(const ReframeParams& p, const Making& m) {
  const Rect window = m.inputs[kImage][0].extent;
  if (window == kEverywhere) return m.picture(kImage).cropped(m.rect);  // One colour stays what it is.
  const auto list = moments_of(p, m);
  const ResampleOptions options = options_of(p, window);
  const Picture part = m.picture(kImage).cropped(reframe_reach(list, m.rect, window, options));
  return reframed(p.edge == Edge::clear ? with_alpha(part) : part, list, m.rect, options);
}

// Whatever leaves the plate is kept; what a kernel spreads over the border too.
Rect extent(const ReframeParams& p, const Ask& a) {
  const Rect window = a.inputs[kImage][0].extent;
  if (window.empty() || window == kEverywhere) return window;
  const auto list = moments_of(p, a);
  Rect all;
  for (const Matrix3& m : list)
    if (const auto bounds = mapped_bounds(m, window)) all = unite(all, *bounds);
  if (list.size() == 1 && keeps_grid(list[0])) return p.edge == Edge::clear ? all : unite(all, a.shot.canvas());
  const double scale = std::max({1.0, p.scale.at(a.frame), p.scale.at(a.frame + 0.5), p.scale.at(a.frame - 0.5)});
  all = all.grown(static_cast<int>(std::ceil(taps(p.filter) / 2.0 * scale)));
  return p.edge == Edge::clear ? all : unite(all, a.shot.canvas());
}

}  // namespace

Kind declare() {
  return Declare<ReframeParams>("reframe", Family::maker, 1, "Moves, scales, turns and flips a whole picture.")
      .also({"transform", "resize", "scale", "rotate", "flip", "crop", "reposition"})
      .input({"image", Flow::picture, "What is moved."})
      .output({"image", Flow::picture, "The picture in its new place; what leaves the plate is kept."})
      .param("move_x_px", &ReframeParams::move_x_px,
             {.doc = "To the right.", .unit = Unit::px, .min = -65536, .max = 65536, .low = -100, .high = 100})
      .param("move_y_px", &ReframeParams::move_y_px,
             {.doc = "Down.", .unit = Unit::px, .min = -65536, .max = 65536, .low = -100, .high = 100})
      .param("scale", &ReframeParams::scale,
             {.doc = "Size against what it was.", .min = 0.001, .max = 1000, .low = 0.25, .high = 4})
      .param("turn_deg", &ReframeParams::turn_deg,
             {.doc = "Clockwise.", .unit = Unit::deg, .min = -36000, .max = 36000, .low = -180, .high = 180})
      .param("flip", &ReframeParams::flip,
             {.doc = "Swaps left and right (sideways) or top and bottom, before it is turned.",
              .choices = {"none", "sideways", "upside-down", "both"}})
      .param("about_px", &ReframeParams::about_px,
             {.doc = "The point that scale, turn and flip leave in place; without one the middle of the plate.",
              .unit = Unit::px,
              .min = -65536,
              .max = 65536,
              .example = "[480, 270]"})
      .param("filter", &ReframeParams::filter,
             {.doc = "How values between pixels are made; sharp keeps most detail.",
              .choices = {"linear", "cubic", "sharp", "smooth"}})
      .param("edge", &ReframeParams::edge,
             {.doc = "Beyond the picture: nothing, its outermost pixels, or its reflection.",
              .choices = {"clear", "hold", "mirror"}})
      .param("limit_ringing", &ReframeParams::limit_ringing, {.doc = "No dark rim around a lamp."})
      .param("smear", &ReframeParams::smear, {.doc = "Smear what is animated over the time the shutter is open."})
      .rule([](const ReframeParams& p, const Given&) -> std::optional<Complaint> {
        if (p.about_px.empty() || p.about_px.size() == 2) return std::nullopt;
        return Complaint{"about_px", "is not one point", "write about_px = [x, y]"};
      })
      .needs(needs)
      .extent(extent)
      .make(make);
}

}  // namespace pw::reframe_kind
