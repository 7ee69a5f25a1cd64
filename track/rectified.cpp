#include "track/rectified.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "track/lens_search.h"
#include "track/readout.h"
#include "track/straighten.h"
#include "warp/bend.h"

namespace pw {
namespace {

constexpr int kPasses = 2;      // In straightened pictures, for what homographies of bent ones could not hold.
constexpr int kMostSteps = 30;  // Of the readout.

}  // namespace

Rectified::Rectified(const PlaneFrames& seen, const Motion& bend) : seen_(seen), bend_(bend) {
  // As far as the middles of the sides go, and corners as far as they do not make the picture half as large again.
  const double w = bend.width, h = bend.height;
  double beyond = 0;
  for (const Point& p : {Point(0, h / 2), Point(w / 2, 0), Point(0, 0), Point(w / 8, h / 8)})
    if (const auto ideal = ideal_from_seen(bend.lens, p, w, h))
      beyond = std::max({beyond, p.x() - ideal->x(), p.y() - ideal->y()});
  margin_ = int(std::ceil(std::min(beyond, 0.25 * std::max(w, h))));
}

std::optional<Point> Rectified::source(int frame, const Point& out) const {
  const Point ideal = out - Point(margin_, margin_);
  if (bend_.readout != 0)
    if (const auto h = bend_.at(frame)) return bend_.seen_from_ref(frame, map(h->inverse(), ideal));
  return seen_from_ideal(bend_.lens, ideal, bend_.width, bend_.height);
}

Picture Rectified::image(int frame) const {
  const Picture p = seen_.image(frame);
  if (p.empty()) return p;
  const Rect out = Rect::sized(p.window().x1 + 2 * margin_, p.window().y1 + 2 * margin_);
  return resample(p, [&](const Point& q) { return source(frame, q); }, out, {.edge = Edge::hold});
}

Picture Rectified::ignore(int frame) const {
  const Picture hidden = seen_.ignore(frame);
  const Rect picture = Rect::sized(bend_.width, bend_.height);
  Canvas shown = Canvas::clear(picture, 1);
  for (int y = 0; y < picture.y1; ++y)
    for (int x = 0; x < picture.x1; ++x)
      *shown.at(x, y) = hidden.empty() || !hidden.window().contains(x, y) || *hidden.at(x, y) <= 0 ? 1.f : 0.f;
  const Rect out = Rect::sized(bend_.width + 2 * margin_, bend_.height + 2 * margin_);
  const Picture p = resample(std::move(shown).finish(), [&](const Point& q) { return source(frame, q); }, out,
                             {.filter = Filter::linear});
  Canvas blocked(out, 1);
  for (int y = out.y0; y < out.y1; ++y)
    for (int x = out.x0; x < out.x1; ++x) *blocked.at(x, y) = *p.at(x, y) < 0.999f ? 1.f : 0.f;
  return std::move(blocked).finish();
}

namespace {

// All rectified pictures of one pass, tracked. Poses are those of ideal pictures.
Result<std::vector<Pose>> track_rectified(const Rectified& rectified, const Motion& bend, PlaneOptions plane,
                                          const Runner& runner, const std::function<bool(int, int)>& progress) {
  const double margin = rectified.margin();
  const bool known = bend.readout != 0 && !bend.poses.empty();
  std::vector<Point*> corners;
  for (Point& c : plane.region) corners.push_back(&c);
  for (auto& part : plane.also)
    for (Point& c : part) corners.push_back(&c);
  for (Point* c : corners) {
    const auto ideal =
        known ? bend.ref_from_seen(bend.reference, *c) : ideal_from_seen(bend.lens, *c, bend.width, bend.height);
    if (!ideal)
      return fail(
          Problem{.what = fmt::format("the lens sees nothing at the region's corner {:.0f}, {:.0f}", c->x(), c->y()),
                  .remedy = "draw the region further from the picture's corners, or give a weaker lens"});
    *c = *ideal + Point(margin, margin);
  }
  for (FixedCorners& f : plane.fixed)
    for (Point& c : f.corners) {
      const auto ideal = ideal_from_seen(bend.lens, c, bend.width, bend.height);
      if (!ideal)
        return fail(Problem{.what = fmt::format("the lens sees nothing at {:.0f}, {:.0f}, where a corner is fixed on "
                                                "frame {}",
                                                c.x(), c.y(), f.frame),
                            .remedy = "fix another frame, or give a weaker lens",
                            .file = f.file,
                            .line = f.line});
      c = *ideal + Point(margin, margin);
    }
  auto found = track_plane(rectified, plane, runner, progress);
  if (!found) return fail(found.error());
  for (Pose& p : found->poses) {
    p.frame_from_ref = normalised(translation(-margin, -margin) * p.frame_from_ref * translation(margin, margin));
    if (p.corner_covariance.empty() || bend.lens.none()) continue;
    // From where corners ideally are to where they are seen.
    const size_t n = 2 * plane.region.size();
    Eigen::Map<Eigen::MatrixXd> c(p.corner_covariance.data(), n, n);
    Eigen::MatrixXd j = Eigen::MatrixXd::Zero(n, n);
    for (size_t i = 0; i < plane.region.size(); ++i) {
      const Point ideal = map(p.frame_from_ref, Point(plane.region[i] - Point(margin, margin)));
      j.block<2, 2>(2 * i, 2 * i) = jacobian(bend.lens, ideal, bend.width, bend.height);
    }
    c = Eigen::MatrixXd(j * c * j.transpose());
  }
  return std::move(found->poses);
}

}  // namespace

Result<Motion> track_bent(const PlaneFrames& frames, const BentOptions& options, const Runner& runner,
                          const std::function<bool(int, int)>& progress) {
  if (options.find_lens) return track_finding_lens(frames, options, runner, progress);
  const bool rolling = options.readout != 0 || options.find_readout;
  if (options.lens.none() && !rolling) return track_plane(frames, options.plane, runner, progress);
  if (rolling && !options.plane.fixed.empty())
    return fail(Problem{.what = "corners cannot be fixed where rows are read one after the other",
                        .remedy = "take the corrections out, or the readout"});
  const Picture image = frames.image(options.plane.reference);
  if (image.empty()) return track_plane(frames, options.plane, runner, progress);  // It says what is wrong.
  Motion bend{.width = image.window().x1,
              .height = image.window().y1,
              .reference = options.plane.reference,
              .region = options.plane.region,
              .lens = options.lens};
  for (int pass = 0; pass <= kPasses; ++pass) {
    const Rectified rectified(frames, bend);
    const auto in_pass = [&](int done, int total) {
      return !progress || progress(pass * total + done, (rolling ? kPasses + 1 : 1) * total);
    };
    PlaneOptions plane = options.plane;
    const bool straight = pass == (rolling ? kPasses : 0);  // As straight as the pictures get.
    plane.refine &= straight, plane.keep_clean &= straight;
    auto poses = track_rectified(rectified, bend, plane, runner, in_pass);
    if (!poses) return fail(poses.error());
    const std::vector<Sight> sights = rolling ? sights_of(bend, *poses) : std::vector<Sight>{};
    bend.poses = std::move(*poses);
    if (!rolling) break;
    if (pass == 0) bend.readout = options.readout;
    straighten(sights, bend);
    for (int step = 0; options.find_readout && step < kMostSteps; ++step) {
      const auto left = readout_left(bend);
      if (!left) return fail(left.error());
      bend.readout_sd = left->sd;
      bend.readout = std::clamp(bend.readout + left->more, -1.0, 1.0);
      straighten(sights, bend);
      if (std::abs(left->more) < 1e-4) break;
    }
  }
  return bend;
}

}  // namespace pw
