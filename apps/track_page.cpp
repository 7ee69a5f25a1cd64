#include "apps/track_page.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>
#include <set>

#include "apps/open.h"
#include "apps/say.h"
#include "comp/media/still.h"
#include "comp/media/whole_file.h"
#include "track/held.h"
#include "track/report.h"
#include "track/telling.h"
#include "warp/resample.h"

namespace pw {
namespace {

constexpr size_t kViews = 12, kHeld = 120;  // Pictures of a page, and of a plane's strip, at most.
constexpr double kViewWidth = 520;          // Pixels, as is:
constexpr int kHeldLongest = 150;
constexpr double kGain = 4;

Result<ReportPicture> jpeg_of(const Picture& p, Encoding encoding) {
  auto still = still_bytes("report.jpg", p, {.encoding = encoding, .quality = 85});
  if (!still) return fail(still.error());
  return ReportPicture{std::string(still->bytes.begin(), still->bytes.end()), p.window().width(), p.window().height()};
}

// A track, and what its strip needs.
struct Followed {
  HeldRegion region;
  std::vector<int> shown;                             // Frames of the strip, ascending.
  std::optional<HeldFrame> reference = std::nullopt;  // Once it was read.
};

bool has(const std::vector<int>& ascending, int frame) {
  return std::binary_search(ascending.begin(), ascending.end(), frame);
}

// One picture of the strip; none of a frame that has no position or no picture.
Result<HeldStill> held_still(const Picture& picture, int frame, const Followed& track) {
  const Rect size = track.region.window();
  HeldStill still{frame, {{}, size.width(), size.height()}, {}};
  const auto held = picture.empty() ? std::nullopt : track.region.hold(picture, frame);
  if (!held) return still;
  auto shown = jpeg_of(track.region.shown(*held), Encoding::srgb);
  if (!shown) return fail(shown.error());
  still.picture = std::move(*shown);
  if (!track.reference) return still;
  auto unlike = jpeg_of(track.region.unlike(*held, *track.reference, kGain), Encoding::linear);
  if (!unlike) return fail(unlike.error());
  still.difference = std::move(*unlike);
  return still;
}

// A whole frame, small.
Result<ReportPicture> view_of(const Picture& picture, const Rect& canvas) {
  if (picture.empty()) return ReportPicture{};
  const double s = std::min(1.0, kViewWidth / canvas.width());
  const auto size = [&](int length) { return std::max(1, static_cast<int>(std::lround(length * s))); };
  return jpeg_of(resample(picture, scaling(s, s), Rect::sized(size(canvas.width()), size(canvas.height()))),
                 Encoding::srgb);
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
  report.tracks.reserve(nodes.size());  // What is followed refers to them.
  std::vector<Followed> followed;
  std::map<std::string, std::pair<Link, std::vector<size_t>>> images;  // With the tracks measured on each.
  for (int n : nodes) {
    const Link link = *image_of(scene, n);
    const std::string image = name_of(scene, link);
    images.try_emplace(image, link, std::vector<size_t>()).first->second.second.push_back(followed.size());
    report.tracks.push_back({scene.graph.nodes[n].name, image, std::get<Motion>(results.measured[n]), {}});
    Motion& m = report.tracks.back().motion;
    std::erase_if(m.poses, [&](const Pose& p) { return p.frame < scene.shot.first || p.frame > scene.shot.last; });
    followed.push_back({HeldRegion(m, scene.shot.shutter_deg, kHeldLongest), telling_frames({&m}, kHeld)});
  }
  std::set<std::pair<std::string, int>> unread;
  for (const auto& [image, of] : images) {
    const auto& [link, tracks] = of;
    const auto picture_of = [&, &image = image, &link = link](int f) {
      auto drawn = render_node(scene, results, link.node, link.output, f, options);
      if (drawn) return *drawn;
      if (unread.insert({image, f}).second) say(drawn.error());
      return Picture();
    };
    std::vector<const Motion*> motions;
    for (size_t t : tracks) {
      motions.push_back(&report.tracks[t].motion);
      if (const Picture p = picture_of(motions.back()->reference); !p.empty())
        followed[t].reference = followed[t].region.hold(p, motions.back()->reference);
    }
    const std::vector<int> views = telling_frames(motions, kViews);
    std::set<int> frames(views.begin(), views.end());
    for (size_t t : tracks) frames.insert(followed[t].shown.begin(), followed[t].shown.end());
    Progress progress("pictures of " + image, silent);
    for (int done = 0; int f : frames) {
      if (stop_asked()) return kStopped;
      const Picture picture = picture_of(f);
      if (has(views, f)) {
        auto view = view_of(picture, scene.shot.canvas());
        if (!view) return say(view.error()), kMistake;
        report.views.push_back({image, f, std::move(*view)});
      }
      for (size_t t : tracks) {
        if (!has(followed[t].shown, f)) continue;
        auto held = held_still(picture, f, followed[t]);
        if (!held) return say(held.error()), kMistake;
        report.tracks[t].held.push_back(std::move(*held));
      }
      progress.at(++done, static_cast<int>(frames.size()));
    }
  }
  const std::string page = report_page(report);
  auto written = write_whole_file(file, {reinterpret_cast<const unsigned char*>(page.data()), page.size()});
  if (!written) return say(written.error()), kMistake;
  return unread.empty() ? kDone : kSomeFailed;
}

}  // namespace pw
