#include "apps/planes.h"

#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "apps/open.h"
#include "apps/say.h"
#include "comp/graph/render.h"
#include "comp/matte/combine.h"
#include "comp/media/still.h"
#include "comp/media/whole_file.h"
#include "track/find_planes.h"
#include "track/outlined.h"
#include "warp/resample.h"

namespace pw {
namespace {

constexpr int kGap = 4, kWide = 640;  // Pixels; the reference's picture. The two beside it are half as wide.

// A node's pictures and what hides them. The first problem is kept.
class DrawnFrames final : public PlaneFrames {
 public:
  DrawnFrames(const Scene& scene, const Results& results, int image, std::vector<int> things, const RenderOptions& o)
      : scene_(scene), results_(results), image_(image), things_(std::move(things)), options_(o) {}
  int first() const override { return scene_.shot.first; }
  int last() const override { return scene_.shot.last; }
  double shutter_deg() const override { return scene_.shot.shutter_deg; }
  Picture image(int frame) const override { return draw(image_, frame); }
  Picture ignore(int frame) const override {
    std::vector<Picture> mattes;
    for (int thing : things_) mattes.push_back(draw(thing, frame));
    return mattes.empty() ? Picture() : added(mattes, scene_.shot.canvas());
  }
  const Problems& problems() const { return problems_; }

 private:
  Picture draw(int node, int frame) const {
    auto p = render_node(scene_, results_, node, 0, frame, options_);
    if (p) return *p;
    if (problems_.empty()) problems_ = p.error();
    return {};
  }
  const Scene& scene_;
  const Results& results_;
  int image_;
  std::vector<int> things_;
  const RenderOptions& options_;
  mutable Problems problems_;
};

// A frame at a width, with every plane that is seen on it; `bold` counts from 0.
Picture view(const PlaneFrames& frames, int frame, const std::vector<FoundPlane>& planes, size_t bold, int width) {
  const Picture picture = frames.image(frame);
  const Rect full = picture.window();
  if (full.empty()) return picture;
  const double s = double(width) / full.width();
  const Rect size = Rect::sized(width, std::max(1, int(std::lround(full.height() * s))));
  std::vector<NumberedRegion> regions;
  for (size_t i = 0; i < planes.size(); ++i) {
    if (i != bold && width < kWide) continue;  // Small pictures are about one alone.
    std::vector<Point> corners = planes[i].corners[frame - frames.first()];
    for (Point& p : corners) p *= s;
    regions.push_back({int(i) + 1, std::move(corners), i == bold});
  }
  if (bold < regions.size())
    std::rotate(regions.begin() + ptrdiff_t(bold), regions.begin() + ptrdiff_t(bold) + 1, regions.end());
  return outlined(resample(picture, scaling(s, s), size, {.edge = Edge::hold}), regions);
}

void put(Canvas& page, const Picture& p, int x0, int y0) {
  for (int y = 0; y < p.window().height(); ++y) std::copy_n(p.row(y), 3 * p.window().width(), page.at(x0, y0 + y));
}

// A row for each plane.
Result<Picture> page_of(const DrawnFrames& frames, const std::vector<FoundPlane>& planes, Progress& progress) {
  struct Row {
    Picture reference, first, last;
  };
  std::vector<Row> rows;
  int height = kGap;
  for (size_t i = 0; i < planes.size(); ++i) {
    if (stop_asked()) return fail(Problem{.what = "stopped"});
    const auto shown = [](const std::vector<Point>& corners) { return !corners.empty(); };
    const auto& corners = planes[i].corners;
    const int first = frames.first() + int(std::find_if(corners.begin(), corners.end(), shown) - corners.begin());
    const int last = frames.last() - int(std::find_if(corners.rbegin(), corners.rend(), shown) - corners.rbegin());
    rows.push_back({view(frames, planes[i].reference, planes, i, kWide), view(frames, first, planes, i, kWide / 2),
                    view(frames, last, planes, i, kWide / 2)});
    if (rows.back().reference.empty() || rows.back().first.empty() || rows.back().last.empty())
      return fail(frames.problems());
    height += std::max(rows.back().reference.window().height(),
                       rows.back().first.window().height() + kGap + rows.back().last.window().height()) +
              kGap;
    progress.at(int(i) + 1, int(planes.size()));
  }
  const float paper[] = {0.03f, 0.03f, 0.03f};
  Canvas page = Canvas::filled(Rect::sized(kWide + kWide / 2 + 3 * kGap, height), 3, paper);
  int y = kGap;
  for (const Row& r : rows) {
    const int small = r.first.window().height();
    put(page, r.reference, kGap, y);
    put(page, r.first, 2 * kGap + kWide, y);
    put(page, r.last, 2 * kGap + kWide, y + small + kGap);
    y += std::max(r.reference.window().height(), 2 * small + kGap) + kGap;
  }
  return std::move(page).finish();
}

void print_planes(const std::vector<FoundPlane>& planes, const Shot& shot) {
  for (size_t i = 0; i < planes.size(); ++i) {
    const FoundPlane& p = planes[i];
    fmt::print("{}{}: {}\n", i ? "\n" : "", i + 1, p.reason);
    fmt::print("   {:.0f} px, {:.1f} % of the frame; it looked like the reference on {} of {} frames tried\n",
               p.area_px, 100 * p.area_px / (double(shot.width) * shot.height), p.agreed, p.tried);
    fmt::print("reference = {}\nregion = {}\n", p.reference, to_text(p.region));
  }
}

void print_json(const std::vector<FoundPlane>& planes) {
  nlohmann::ordered_json all = nlohmann::ordered_json::array();
  for (const FoundPlane& p : planes) {
    nlohmann::ordered_json region = nlohmann::ordered_json::array();
    for (const Point& q : p.region) region.push_back({q.x(), q.y()});
    all.push_back({{"reference", p.reference},
                   {"region", region},
                   {"area_px", p.area_px},
                   {"frames", p.frames},
                   {"inside", p.inside},
                   {"tried", p.tried},
                   {"agreed", p.agreed},
                   {"sigma_px", p.sigma_px},
                   {"visible", p.visible},
                   {"smear_px", p.smear_px},
                   {"worth", p.worth},
                   {"reason", p.reason}});
  }
  fmt::print("{}\n", all.dump());
}

}  // namespace

int list_planes(const ProbeCommand& c) {
  if (!c.out.empty() && !c.out.ends_with(".png")) {
    say({{.what = "the pictures of the planes are one page, a .png", .remedy = "as in planes.png", .file = c.out}});
    return kMistake;
  }
  if (!c.out.empty())
    if (auto w = check_writable(c.out); !w) return say(w.error()), kMistake;
  const auto scene = c.file.ends_with(".toml") ? open_shot(c, 1) : open_footage(c);
  if (!scene) return kMistake;
  const auto memory = memory_limit(c.memory);
  const auto image = node_looked_at(*scene, c.image);
  const auto things = c.things.empty() ? std::optional(std::vector<int>()) : nodes_named(*scene, c.things);
  if (!memory || !image || !things) return kMistake;
  watch_for_stop();
  const auto runner = arena(c.threads);
  std::vector<int> wanted = *things;
  wanted.push_back(image->front());
  const auto results = measure(*scene, wanted, {*runner, *memory});
  if (!results) return say(results.error()), kMistake;
  const RenderOptions options{.runner = *runner, .memory_limit = *memory};
  const DrawnFrames frames(*scene, *results, image->front(), *things, options);
  std::optional<Progress> progress(std::in_place, "planes", c.json);
  const auto planes = find_planes(frames, {}, *runner, [&](int done, int total) {
    progress->at(done, total);
    return !stop_asked();
  });
  progress.reset();
  say(frames.problems());
  if (!planes) return stop_asked() ? kStopped : (say(planes.error()), kMistake);
  if (!c.out.empty() && !planes->empty()) {
    progress.emplace("pictures", c.json);
    const auto page = page_of(frames, *planes, *progress);
    progress.reset();
    if (!page) return stop_asked() ? kStopped : (say(page.error()), kMistake);
    const auto written = write_still(c.out, *page, {.encoding = Encoding::srgb, .depth = Depth::bits8});
    if (!written) return say(written.error()), kMistake;
  }
  if (c.json) {
    print_json(*planes);
  } else {
    print_planes(*planes, scene->shot);
    if (planes->empty())
      fmt::print("no plane was found that can be followed: nothing flat and textured is seen for long\n");
    if (!planes->empty() && !c.out.empty())
      fmt::print("\n{}: the planes, each on its reference frame and where it is first and last seen\n", c.out);
  }
  return frames.problems().empty() ? kDone : kSomeFailed;
}

}  // namespace pw
