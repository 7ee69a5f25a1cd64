#include "comp/repair/together.h"

#include <algorithm>
#include <cmath>

#include "base/alpha.h"
#include "warp/resample.h"

namespace pw {
namespace {

// A view over the still's window: premultiplied RGB and how much the view is to be believed there, 0..1.
struct Laid {
  Picture picture;
  Picture shown;
};

// A matte that falls to 0 towards the picture's edges and what stands in front.
Picture belief(const View& v, double feather_px) {
  const Rect w = v.picture.window();
  Canvas c(w, 1);
  for (int y = w.y0; y < w.y1; ++y)
    for (int x = w.x0; x < w.x1; ++x) {
      const int border = std::min({x - w.x0, w.x1 - 1 - x, y - w.y0, w.y1 - 1 - y});
      const double edge = std::min(1.0, (border + 0.5) / std::max(0.5, feather_px));
      // What is more than half hidden shows more of the thing in front than of the plane: it does not count at all.
      const float hidden = v.ignore.window().contains(x, y) ? std::clamp(*v.ignore.at(x, y), 0.f, 0.5f) : 0.f;
      *c.at(x, y) = static_cast<float>(edge * (1 - 2 * hidden));
    }
  return std::move(c).finish();
}

Laid lay(const View& v, const Rect& window, double feather_px, const Runner& runner) {
  const auto reach = mapped_bounds(v.base_from_view, v.picture.window());
  const Rect part = reach ? intersect(*reach, window) : window;
  // The picture goes on beyond its edge, so that its last pixels are not mixed with nothing; belief says where it ends.
  const Picture four = with_alpha(v.picture), sure = belief(v, feather_px);
  Canvas picture = Canvas::clear(part, 4), shown = Canvas::clear(part, 1);
  constexpr int kRows = 32;
  runner.run(static_cast<size_t>((part.height() + kRows - 1) / kRows), [&](size_t i) {
    const int y0 = part.y0 + static_cast<int>(i) * kRows;
    const Rect band{part.x0, y0, part.x1, std::min(y0 + kRows, part.y1)};
    const Picture a = resample(four, v.base_from_view, band, {.edge = Edge::hold}),
                  b = resample(sure, v.base_from_view, band, {});
    for (int y = band.y0; y < band.y1; ++y) {
      if (a.window().contains({band.x0, y, band.x1, y + 1}))
        std::copy_n(a.at(band.x0, y), size_t(band.width()) * 4, picture.at(band.x0, y));
      if (b.window().contains({band.x0, y, band.x1, y + 1}))
        std::copy_n(b.at(band.x0, y), size_t(band.width()), shown.at(band.x0, y));
    }
  });
  return {std::move(picture).finish(), std::move(shown).finish()};
}

constexpr float kSeen = 0.5f;  // A place counts as seen when a view is believed at least this much.

void sharpest(const std::vector<Laid>& views, int x, int y, float* out) {
  float sum[4] = {}, left = 1;
  const float* only = nullptr;
  int count = 0;
  for (const Laid& v : views) {
    if (!v.shown.window().contains(x, y)) continue;
    const float* p = v.picture.at(x, y);
    // The part of a view's edge pixel that the view really shows.
    const float w = left * std::clamp(*v.shown.at(x, y), 0.f, 1.f) * (p[3] > 0.999f ? 1 : 0);
    if (w <= 0) continue;
    for (int k = 0; k < 4; ++k) sum[k] += w * p[k];
    left -= w;
    only = p, ++count;
    if (left <= 1e-6f) break;
  }
  // Where belief in all views together is low (a place all show only near their edges) what there is must do.
  const float all = 1 - left;
  if (count == 1) return void(std::copy_n(only, 4, out));  // To the bit.
  for (int k = 0; k < 4; ++k) out[k] = all > 1e-3f ? sum[k] / all : 0;
}

void median(const std::vector<Laid>& views, int x, int y, float* out) {
  float seen[4][64];
  int count = 0;
  for (const Laid& v : views) {
    if (!v.shown.window().contains(x, y) || *v.shown.at(x, y) < kSeen || v.picture.at(x, y)[3] <= 0.999f) continue;
    for (int k = 0; k < 4; ++k) seen[k][count] = v.picture.at(x, y)[k];
    ++count;
  }
  if (count == 0) return sharpest(views, x, y, out);
  for (int k = 0; k < 4; ++k) {
    std::sort(seen[k], seen[k] + count);
    out[k] = count % 2 ? seen[k][count / 2] : 0.5f * (seen[k][count / 2 - 1] + seen[k][count / 2]);
  }
}

}  // namespace

Together bring_together(const std::vector<View>& views, const Rect& window, const Rect& area, Merge merge,
                        double feather_px, const Runner& runner) {
  std::vector<Laid> laid;
  for (const View& v : views) laid.push_back(lay(v, window, feather_px, runner));
  Canvas out(window, 4);
  runner.run(static_cast<size_t>(window.height()), [&](size_t i) {
    const int y = window.y0 + static_cast<int>(i);
    for (int x = window.x0; x < window.x1; ++x)
      merge == Merge::median ? median(laid, x, y, out.at(x, y)) : sharpest(laid, x, y, out.at(x, y));
  });
  Together t{std::move(out).finish(), 0};
  int64_t bare = 0;
  for (int y = area.y0; y < area.y1; ++y)
    for (int x = area.x0; x < area.x1; ++x) bare += !window.contains(x, y) || t.picture.at(x, y)[3] == 0;
  t.uncovered_share = area.area() ? static_cast<double>(bare) / static_cast<double>(area.area()) : 0;
  return t;
}

double smear_px(const Motion& motion, int frame, double shutter_deg) {
  const double half = shutter_deg / 720;
  const auto a = motion.between(frame - half, frame), b = motion.between(frame + half, frame);
  const Pose* here = motion.find(frame);
  if (!a || !b || !here) return 0;
  double longest = 0;
  for (const Point& corner : motion.region) {
    const Point p = map(here->frame_from_ref, corner);
    longest = std::max(longest, (map(*b, p) - map(*a, p)).norm());
  }
  return longest;
}

}  // namespace pw
