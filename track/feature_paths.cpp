#include "track/feature_paths.h"

#include <algorithm>

#include "track/align.h"
#include "track/start.h"

namespace pw {
namespace {

constexpr int kSide = 960;    // Frames are shrunk to about this many pixels.
constexpr int kSpacing = 14;  // Shrunk pixels.
constexpr int kLooks = 16;    // Places are looked for on so many frames of a shot.

}  // namespace

Result<FeaturePaths> feature_paths(const PlaneFrames& frames, const std::function<bool(int, int)>& progress) {
  const int first = frames.first(), last = frames.last(), every = std::max(1, (last - first + 1) / kLooks);
  FeaturePaths all;
  std::vector<size_t> open;  // Paths that go on.
  int shrink = 1;
  FeatureImage before;
  for (int f = first; f <= last; ++f) {
    const Picture image = frames.image(f);
    if (all.width == 0 && !image.empty()) {
      all.width = image.window().x1, all.height = image.window().y1;
      shrink = std::max(1, (std::max(all.width, all.height) + kSide / 2) / kSide);
      all.spacing = kSpacing * shrink, all.slack = shrink;
    }
    if (image.empty() || image.window() != Rect::sized(all.width, all.height)) {
      open.clear(), before = FeatureImage();
    } else {
      const bool alone = before.empty();
      FeatureImage now(image, image.window(), shrink);
      const Blocked ignore(frames.ignore(f), kIgnoreGrow);
      const auto usable = [&](const Point& p) { return ignore.empty() || !ignore.at(p); };
      std::vector<Point> places;
      for (size_t p : open) places.push_back(all.paths[p].at.back());
      if (!alone) places = follow(before, now, places);
      std::vector<size_t> still;
      std::vector<Point> taken;
      for (size_t i = 0; i < open.size(); ++i) {
        if (!places[i].allFinite() || !usable(places[i])) continue;
        all.paths[open[i]].at.push_back(places[i]);
        still.push_back(open[i]), taken.push_back(places[i]);
      }
      open = std::move(still);
      if ((f - first) % every == 0 || alone)
        for (const Point& p : textured_places(now, kSpacing, taken, usable)) {
          open.push_back(all.paths.size());
          all.paths.push_back({f, {p}});
        }
      before = std::move(now);
    }
    if (progress && !progress(f - first + 1, last - first + 1)) return fail(Problem{.what = "stopped"});
  }
  if (all.width == 0)
    return fail(Problem{.what = "no frame could be read", .remedy = "check the footage the plane looks at"});
  return all;
}

}  // namespace pw
