#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/alpha.h"
#include "comp/spec/declare.h"
#include "track/arithmetic.h"
#include "warp/resample.h"

namespace pw::stabilise_kind {
namespace {

enum class Hold { still, calm };
struct Stabilise {
  Hold hold = Hold::still;
  int64_t frame = 0;
  double window_frames = 25;
  bool move = true, turn = true, scale = true, rest = true;
  std::vector<double> about_px;
  Filter filter = Filter::sharp;
  Edge edge = Edge::clear;
  bool limit_ringing = true;
};
enum { kImage, kMotion };

// Nothing where the motion does not know the frame.
std::optional<Matrix3> out_from_frame(const Stabilise& p, const Ask& a) {
  const Motion& motion = a.motion(kMotion);
  const auto here = motion.at(a.frame);
  const auto wanted = p.hold == Hold::calm ? calmed(motion, a.frame, p.window_frames)
                                           : motion.at(p.frame ? static_cast<double>(p.frame) : motion.reference);
  if (!here || !wanted) return std::nullopt;
  if (*here == *wanted) return Matrix3(Matrix3::Identity());  // Keeps its bits.
  const Quad q = corner_quad(motion.region);
  const Point about =
      p.about_px.size() == 2 ? Point(p.about_px[0], p.about_px[1]) : Point((q[0] + q[1] + q[2] + q[3]) / 4);
  // What the frame does beyond what is wanted, its parts taken about where the point is to be.
  const auto excess =
      kept(normalised(*here * inverted(*wanted)), map(*wanted, about), {p.move, p.turn, p.scale, p.rest});
  if (!excess) return std::nullopt;
  return normalised(a.shot.scaled(inverted(*excess)));
}

ResampleOptions options_of(const Stabilise& p, const Rect& window) {
  return {.filter = p.filter, .edge = p.edge, .limit_ringing = p.limit_ringing, .source_window = window};
}

std::vector<Demand> needs(const Stabilise& p, const Ask& a) {
  const Rect window = a.inputs[kImage][0].extent;
  if (window == kEverywhere) return {{kImage, 0, a.frame, a.rect}};
  const auto h = out_from_frame(p, a);
  return {{kImage, 0, a.frame, h ? source_reach(*h, a.rect, window, options_of(p, window)) : Rect{}}};
}

Picture make(const Stabilise& p, const Making& m) {
  const Rect window = m.inputs[kImage][0].extent;
  if (window == kEverywhere) return with_alpha(m.picture(kImage)).cropped(m.rect);  // One colour stays what it is.
  const auto h = out_from_frame(p, m);
  if (!h) return Canvas::clear(m.rect, 4).finish();
  const ResampleOptions options = options_of(p, window);
  return resample(with_alpha(m.picture(kImage).cropped(source_reach(*h, m.rect, window, options))), *h, m.rect,
                  options);
}

// What leaves the plate is kept, up to a plate's size beyond it: a plane seen edge-on would reach to the horizon.
Rect extent(const Stabilise& p, const Ask& a) {
  const Rect window = a.inputs[kImage][0].extent, canvas = a.shot.canvas();
  if (window.empty() || window == kEverywhere) return window;
  const Rect most{-canvas.x1, -canvas.y1, 2 * canvas.x1, 2 * canvas.y1};
  const auto h = out_from_frame(p, a);
  if (!h) return {};
  const auto bounds = mapped_bounds(*h, window);
  if (!bounds) return most;
  if (p.edge != Edge::clear) return unite(canvas, intersect(most, *bounds));
  if (h->isIdentity(0)) return window;
  // A kernel is as wide as the largest pixel it makes.
  double scale = 1;
  for (const double x : {window.x0, window.x1})
    for (const double y : {window.y0, window.y1}) scale = std::max(scale, jacobian(*h, Point(x, y)).norm());
  return intersect(most, bounds->grown(static_cast<int>(std::ceil(std::min(1e4, taps(p.filter) / 2.0 * scale)))));
}

}  // namespace

Kind declare() {
  return Declare<Stabilise>("stabilise", Family::maker, 1,
                            "A picture held so that a plane stands still, or moves calmly; its smear stays.")
      .also({"stabilize", "steady", "smooth camera"})
      .input({"image", Flow::picture, "What is held."})
      .input({"motion", Flow::motion, "The plane that is to stand still."})
      .output({"image", Flow::picture, "The picture held; clear where nothing is, and where the motion is not known."})
      .param("hold", &Stabilise::hold,
             {.doc = "still: as in one frame; calm: the motion stays, without what is faster than the window.",
              .choices = {"still", "calm"}})
      .param("frame", &Stabilise::frame,
             {.doc = "The frame it is held as; 0: the reference of the motion.",
              .unit = Unit::frames,
              .min = -9999999,
              .max = 9999999})
      .param("window_frames", &Stabilise::window_frames,
             {.doc = "Length of the motion that is made smooth around each frame.",
              .unit = Unit::frames,
              .min = 3,
              .max = 1001,
              .low = 5,
              .high = 75})
      .param("move", &Stabilise::move, {.doc = "Take out the move of the point it turns about."})
      .param("turn", &Stabilise::turn, {.doc = "Take out the turn."})
      .param("scale", &Stabilise::scale, {.doc = "Take out the change of size."})
      .param("rest", &Stabilise::rest, {.doc = "Take out stretch, shear and perspective."})
      .param("about_px", &Stabilise::about_px,
             {.doc = "The point it turns about, in the reference frame; without one the middle of the region.",
              .unit = Unit::px,
              .min = -65536,
              .max = 65536,
              .example = "[480, 270]"})
      .param("filter", &Stabilise::filter,
             {.doc = "How values between pixels are made; sharp keeps most detail.",
              .choices = {"linear", "cubic", "sharp", "smooth"}})
      .param("edge", &Stabilise::edge,
             {.doc = "Beyond the picture: nothing, its outermost pixels, or its reflection.",
              .choices = {"clear", "hold", "mirror"}})
      .param("limit_ringing", &Stabilise::limit_ringing, {.doc = "No dark rim around a lamp."})
      .rule([](const Stabilise& p, const Given&) -> std::optional<Complaint> {
        if (p.about_px.empty() || p.about_px.size() == 2) return std::nullopt;
        return Complaint{"about_px", "is not one point", "write about_px = [x, y]"};
      })
      .rule([](const Stabilise& p, const Given& given) -> std::optional<Complaint> {
        if (p.hold == Hold::calm && given("frame"))
          return Complaint{"frame", "stands beside hold = \"calm\"", "a calm motion is held as no frame: take it out"};
        if (p.hold == Hold::still && given("window_frames"))
          return Complaint{"window_frames", "stands beside hold = \"still\"",
                           "it is the window of hold = \"calm\": take one out"};
        return std::nullopt;
      })
      .fits_shot([](const Stabilise& p, const Shot& shot) -> std::optional<Complaint> {
        if (p.frame == 0 || (p.frame >= shot.first && p.frame <= shot.last)) return std::nullopt;
        return Complaint{"frame", fmt::format("is frame {}, which the shot does not have", p.frame),
                         fmt::format("it has frames {} to {}", shot.first, shot.last)};
      })
      .needs(needs)
      .extent(extent)
      .make(make);
}

}  // namespace pw::stabilise_kind
