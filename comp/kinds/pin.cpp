#include "warp/pin.h"

#include "base/alpha.h"
#include "comp/spec/declare.h"

namespace pw::pin_kind {
namespace {

struct PinParams {
  Filter filter = Filter::sharp;
  Edge edge = Edge::clear;
  bool smear = true;
  bool limit_ringing = true;
};
enum { kImage, kMotion };

// The motion at the shot's scale; `own` keeps it where it is another one.
const Motion& scaled(const Motion& m, const Shot& shot, Motion& own) {
  if (shot.scale == 1) return m;
  own = m;
  own.width = shot.canvas().width(), own.height = shot.canvas().height();
  for (Point& p : own.region) p *= shot.scale;
  for (Pose& p : own.poses) p.frame_from_ref = normalised(shot.scaled(p.frame_from_ref));
  return own;
}

Pin pin_of(const PinParams& p, const Ask& a, const Motion& motion) {
  Pin pin{.motion = motion,
          .frame = a.frame,
          .shutter_deg = p.smear ? a.shot.shutter_deg : 0,
          .own_shutter_deg = a.shot.shutter_deg};
  if (const Still* still = a.inputs[kImage][0].still) {
    pin.own_frame = still->own_frame;
    pin.smeared_by = still->frames;
  }
  pin.options = {.filter = p.filter, .edge = p.edge, .limit_ringing = p.limit_ringing};
  return pin;
}

// What moves is taken to lie in the reference frame, and is looked at frame by frame.
std::vector<Demand> needs(const PinParams& p, const Ask& a) {
  Motion own;
  const Motion& motion = scaled(a.motion(kMotion), a.shot, own);
  const Rect window = a.inputs[kImage][0].extent;
  const Rect reach = window == kEverywhere ? a.rect.grown(4) : pin_reach(pin_of(p, a, motion), a.rect, window);
  return {{kImage, 0, a.frame, reach}};
}

Picture make(const PinParams& p, const Making& m) {
  const Rect window = m.inputs[kImage][0].extent;
  if (window == kEverywhere) {  // One colour wherever one looks stays what it is.
    return with_alpha(m.picture(kImage)).cropped(m.rect);
  }
  Motion own;
  const Motion& motion = scaled(m.motion(kMotion), m.shot, own);
  Pin pin = pin_of(p, m, motion);
  pin.options.source_window = window;
  const Picture whole = m.picture(kImage).cropped(pin_reach(pin, m.rect, window));
  auto pinned = pw::pin(with_alpha(whole), pin, m.rect);
  return pinned ? *pinned : Canvas::clear(m.rect, 4).finish();
}

}  // namespace

Kind declare() {
  return Declare<PinParams>("pin", Family::maker, 2,
                            "Moves a picture with a plane, smeared as the shot's shutter smears.")
      .also({"match move", "corner pin"})
      .input({"image", Flow::picture, "A still, or a moving picture that lies in the plane's reference frame."})
      .input({.name = "motion", .flow = Flow::motion, .doc = "The plane it moves with.", .bent = true})
      .output({"image", Flow::picture, "The picture as each frame sees it; clear where it does not reach."})
      .param("filter", &PinParams::filter,
             {.doc = "How values between pixels are made; sharp keeps most detail.",
              .choices = {"linear", "cubic", "sharp", "smooth"}})
      .param("edge", &PinParams::edge,
             {.doc = "Beyond the picture: nothing, its outermost pixels, or its reflection.",
              .choices = {"clear", "hold", "mirror"}})
      .param("smear", &PinParams::smear,
             {.doc = "Smear by what the frame's shutter smears more than the still is smeared already."})
      .param("limit_ringing", &PinParams::limit_ringing, {.doc = "No dark rim around a lamp."})
      .needs(needs)
      .extent([](const PinParams&, const Ask& a) {
        return a.inputs[kImage][0].extent == kEverywhere ? kEverywhere : a.shot.canvas();
      })
      .make(make);
}

}  // namespace pw::pin_kind
