#include "apps/track_page.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <map>
#include <set>

#include "apps/open.h"
#include "apps/say.h"
#include "comp/matte/raster.h"
#include "comp/media/still.h"
#include "comp/media/whole_file.h"
#include "track/report.h"
#include "track/telling.h"
#include "warp/resample.h"

namespace pw {
namespace {

constexpr size_t kViews = 12, kHeld = 120;              // Pictures of a page, and of a plane's strip, at most.
constexpr double kViewWidth = 520, kHeldLongest = 150;  // Pixels.
constexpr double kGain = 4;

Result<ReportPicture> jpeg_of(const Picture& p, Encoding encoding) {
  auto still = still_bytes("report.jpg", p, {.encoding = encoding, .quality = 85});
  if (!still) return fail(still.error());
  return ReportPicture{std::string(still->bytes.begin(), still->bytes.end()), p.window().width(), p.window().height()};
}

// A region and a little around it, small, in the reference frame.
struct Small {
  Matrix3 from_ref;
  Rect window;
  Picture inside;  // The region's matte.

  explicit Small(const std::vector<Point>& region) {
    const Shape shape{{polygon(region)}};
    const Rect box = bounds(shape);
    const double longest = std::max(box.width(), box.height()), margin = 0.05 * longest;
    const double s = std::min(1.0, kHeldLongest / (longest + 2 * margin));
    from_ref = scaling(s, s) * translation(margin - box.x0, margin - box.y0);
    const auto size = [&](int length) { return std::max(1, static_cast<int>(std::lround((length + 2 * margin) * s))); };
    window = Rect::sized(size(box.width()), size(box.height()));
    inside = rasterise(mapped(shape, from_ref), window);
  }
};

// A picture held still, and where it shows anything.
struct Held {
  Picture picture;
  std::vector<bool> seen;
};

Held hold_still(const Picture& frame, const Small& small, const Matrix3& frame_from_ref) {
  const Matrix3 small_from_frame = small.from_ref * frame_from_ref.inverse();
  Held held{resample(frame, small_from_frame, small.window), {}};
  const Matrix3 back = frame_from_ref * small.from_ref.inverse();
  for (int y = 0; y < small.window.y1; ++y)
    for (int x = 0; x < small.window.x1; ++x) {
      const Point p = map(back, {x + 0.5, y + 0.5});
      held.seen.push_back(
          p.allFinite() && p.cwiseAbs().maxCoeff() < 1e6 &&
          frame.window().contains(static_cast<int>(std::floor(p.x())), static_cast<int>(std::floor(p.y()))));
    }
  return held;
}

// Code values: mid-grey where the region looks as in the reference, once it is brought to the same mean light; darker
// around the region, black where one of the two shows nothing.
Picture difference(const Held& frame, const Held& reference, const Small& small) {
  const Rect w = small.window;
  const int channels = std::min(3, frame.picture.channels());
  std::array<double, 3> light{}, wanted{}, gain{1, 1, 1};
  const auto both = [&](int x, int y) {
    const size_t i = static_cast<size_t>(y) * w.width() + x;
    return frame.seen[i] && reference.seen[i];
  };
  for (int y = 0; y < w.y1; ++y)
    for (int x = 0; x < w.x1; ++x)
      for (int k = 0; k < channels && both(x, y); ++k) {
        light[k] += *small.inside.at(x, y) * frame.picture.at(x, y)[k];
        wanted[k] += *small.inside.at(x, y) * reference.picture.at(x, y)[k];
      }
  for (int k = 0; k < channels; ++k)
    if (light[k] > 1e-6 && wanted[k] > 1e-6) gain[k] = wanted[k] / light[k];
  Canvas out = Canvas::clear(w, 1);
  for (int y = 0; y < w.y1; ++y)
    for (int x = 0; x < w.x1; ++x) {
      if (!both(x, y)) continue;
      double sum = 0;
      for (int k = 0; k < channels; ++k)
        sum += encode(Encoding::srgb, gain[k] * frame.picture.at(x, y)[k]) -
               encode(Encoding::srgb, reference.picture.at(x, y)[k]);
      const double inside = *small.inside.at(x, y);
      *out.at(x, y) = static_cast<float>(0.25 + inside * (0.25 + kGain * sum / channels));
    }
  return std::move(out).finish();
}

// A track, and what its strip needs.
struct Followed {
  const Motion& motion;
  Small small;
  std::vector<int> shown;                        // Frames of the strip, ascending.
  std::optional<Held> reference = std::nullopt;  // Once it was seen.
};

bool has(const std::vector<int>& ascending, int frame) {
  return std::binary_search(ascending.begin(), ascending.end(), frame);
}

// One picture of the strip; none of a frame that has no position or no picture. The reference must come first.
Result<HeldStill> held_still(const Picture& picture, int frame, Followed& track) {
  const Rect size = track.small.window;
  HeldStill h{frame, {{}, size.width(), size.height()}, {}};
  const Pose* pose = track.motion.find(frame);
  const bool home = frame == track.motion.reference;
  if (picture.empty() || (!home && (!pose || pose->status == TrackStatus::lost))) return h;
  Held now = hold_still(picture, track.small, home ? Matrix3(Matrix3::Identity()) : pose->frame_from_ref);
  auto jpeg = jpeg_of(now.picture, Encoding::srgb);
  if (!jpeg) return fail(jpeg.error());
  h.picture = std::move(*jpeg);
  if (track.reference) {
    auto unlike = jpeg_of(difference(now, *track.reference, track.small), Encoding::linear);
    if (!unlike) return fail(unlike.error());
    h.difference = std::move(*unlike);
  }
  if (home) track.reference = std::move(now);
  return h;
}

// A whole frame, small.
Result<ReportPicture> view_of(const Picture& picture, const Rect& canvas) {
  if (picture.empty()) return ReportPicture{};
  const double s = std::min(1.0, kViewWidth / canvas.width());
  const auto size = [&](int length) { return std::max(1, static_cast<int>(std::lround(length * s))); };
  return jpeg_of(resample(picture, scaling(s, s), Rect::sized(size(canvas.width()), size(canvas.height()))),
                 Encoding::srgb);
}

// Frames in the order in which they are drawn: the references first, the others are compared with them.
std::vector<int> order_of(const std::vector<Followed>& followed, const std::vector<size_t>& tracks,
                          const std::vector<int>& views) {
  std::set<int> first, rest(views.begin(), views.end());
  for (size_t t : tracks) {
    first.insert(followed[t].motion.reference);
    rest.insert(followed[t].shown.begin(), followed[t].shown.end());
  }
  std::vector<int> order(first.begin(), first.end());
  for (int f : rest)
    if (!first.contains(f)) order.push_back(f);
  return order;
}

// What a plane looks at: its image, or the shot's footage when its motion comes from elsewhere.
std::optional<Link> image_of(const Scene& scene, int node) {
  const Node& n = scene.graph.nodes[node];
  if (const int i = n.kind->input("image"); i >= 0 && !n.inputs[i].empty()) return n.inputs[i][0];
  if (scene.graph.like.empty()) return std::nullopt;
  return Link{scene.graph.find(scene.graph.like), 0};
}

std::string name_of(const Scene& scene, const Link& l) {
  const Node& n = scene.graph.nodes[l.node];
  return l.output ? fmt::format("{}.{}", n.name, n.kind->outputs[l.output].name) : n.name;
}

}  // namespace

bool gives_motion(const Node& node) {
  return !node.kind->outputs.empty() && node.kind->outputs[0].flow == Flow::motion;
}

bool may_be_reported(const Scene& scene, const std::vector<int>& nodes, const std::string& file) {
  const auto wrong = [&](std::string what, std::string remedy) {
    say({{.what = std::move(what), .remedy = std::move(remedy), .file = scene.graph.file}});
    return false;
  };
  if (nodes.empty()) return wrong("the shot has no plane to report on", "add one: see platewright kinds plane");
  for (int n : nodes) {
    const Node& node = scene.graph.nodes[n];
    if (!gives_motion(node))
      return wrong(fmt::format("{} is no plane, and a report shows planes", node.name),
                   "name planes only, or no node for all planes of the shot");
    if (!image_of(scene, n))
      return wrong(fmt::format("{} has no image to be shown on", node.name),
                   fmt::format("give it one, {}.image = \"NODE\", or let the shot be like its footage", node.name));
  }
  if (auto w = check_writable(file); !w) return say(w.error()), false;
  return true;
}

int write_track_page(const Scene& scene, const Results& results, const std::vector<int>& nodes, const std::string& file,
                     const RenderOptions& options, bool silent) {
  TrackReport report{.shot = std::filesystem::path(scene.graph.file).filename().string(), .difference_gain = kGain};
  std::vector<Followed> followed;
  std::map<std::string, std::pair<Link, std::vector<size_t>>> images;  // With the tracks measured on each.
  for (int n : nodes) {
    const Link link = *image_of(scene, n);
    const std::string image = name_of(scene, link);
    images.try_emplace(image, link, std::vector<size_t>()).first->second.second.push_back(followed.size());
    const Motion& m = std::get<Motion>(results.measured[n]);
    report.tracks.push_back({scene.graph.nodes[n].name, image, m, {}});
    followed.push_back({m, Small(m.region), telling_frames({&m}, kHeld)});
  }
  int status = kDone;
  for (const auto& [image, of] : images) {
    const auto& [link, tracks] = of;
    std::vector<const Motion*> motions;
    for (size_t t : tracks) motions.push_back(&report.tracks[t].motion);
    const std::vector<int> views = telling_frames(motions, kViews), order = order_of(followed, tracks, views);
    Progress progress("pictures of " + image, silent);
    for (size_t i = 0; i < order.size(); ++i) {
      if (stop_asked()) return kStopped;
      const int f = order[i];
      auto drawn = render_node(scene, results, link.node, link.output, f, options);
      if (!drawn) say(drawn.error()), status = kSomeFailed;
      const Picture picture = drawn ? *drawn : Picture();
      if (has(views, f)) {
        auto view = view_of(picture, scene.shot.canvas());
        if (!view) return say(view.error()), kMistake;
        report.views.push_back({image, f, std::move(*view)});
      }
      for (size_t t : tracks) {
        auto held = held_still(picture, f, followed[t]);
        if (!held) return say(held.error()), kMistake;
        if (has(followed[t].shown, f)) report.tracks[t].held.push_back(std::move(*held));
      }
      progress.at(static_cast<int>(i) + 1, static_cast<int>(order.size()));
    }
  }
  const auto by_frame = [](const auto& a, const auto& b) { return a.frame < b.frame; };
  for (ReportTrack& t : report.tracks) std::stable_sort(t.held.begin(), t.held.end(), by_frame);
  std::stable_sort(report.views.begin(), report.views.end(), by_frame);
  const std::string page = report_page(report);
  auto written = write_whole_file(file, {reinterpret_cast<const unsigned char*>(page.data()), page.size()});
  if (!written) return say(written.error()), kMistake;
  return status;
}

}  // namespace pw
