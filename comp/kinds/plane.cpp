#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "comp/kinds/measured_frames.h"
#include "comp/kinds/stored_motion.h"
#include "comp/matte/svg_read.h"
#include "comp/media/identity.h"
#include "comp/spec/declare.h"
#include "track/find_planes.h"
#include "track/rectified.h"
#include "track/region.h"
#include "track/track_file.h"

namespace pw::plane_kind {
namespace {

enum class LensTerms { no, k1, k1_k2 };

struct Plane {
  FrameOrAuto reference{0};
  Polygon region;
  Polygons also;
  std::string region_file, region_name, also_names;
  std::string file;
  std::string fixed_file;
  double weak_px = 0.5;
  MotionModel model = MotionModel::homography;
  LockedAxis lock = LockedAxis::none;
  bool refine = false;
  LensTerms estimate_lens = LensTerms::no;
  double readout = 0;
  bool estimate_readout = false;
};
enum { kImage, kIgnore, kLens };

// The pictures of the node's inputs, as the tracker asks for them. The motion is lost on a frame that cannot be read,
// and goes on after it; the problem is kept in case there is no motion at all. What is ignored must be known on every
// frame.
class Frames final : public PlaneFrames {
 public:
  explicit Frames(const Measuring& m) : mattes(m), m_(m) {}
  int first() const override { return m_.shot.first; }
  int last() const override { return m_.shot.last; }
  double shutter_deg() const override { return m_.shot.shutter_deg; }
  Picture image(int frame) const override {
    auto p = m_.get(kImage, 0, frame);
    if (p) return *p;
    if (unread_.empty()) unread_ = p.error();
    return {};
  }
  Picture ignore(int frame) const override { return mattes.mattes(kIgnore, frame); }
  const Problems& unread() const { return unread_; }  // The first frame that could not be read.
  const MeasuredFrames mattes;

 private:
  const Measuring& m_;
  mutable Problems unread_;
};

bool automatic(const Plane& p) { return !p.reference.frame; }

int reference_of(const Plane& p, const Shot& shot) {
  const int64_t frame = p.reference.frame.value_or(0);
  return frame ? static_cast<int>(frame) : shot.first;
}

Result<Motion> from_file(const Plane& p, const Shot& shot) {
  const std::string path = shot.path(p.file);
  auto text = text_of(path);
  if (!text) return fail(text.error());
  const bool csv = std::filesystem::path(path).extension() == ".csv";
  auto motion =
      csv ? parse_corners_csv(*text, path, shot.width, shot.height, reference_of(p, shot)) : parse_track(*text, path);
  if (!motion || shot.width == 0) return motion;
  if (motion->width != shot.width || motion->height != shot.height)
    return fail(Problem{.what = fmt::format("this track is of a plate of {}x{}, the shot is {}x{}", motion->width,
                                            motion->height, shot.width, shot.height),
                        .remedy = "use the track of this plate, or measure again",
                        .file = path});
  if (area_inside(motion->region, Rect::sized(shot.width, shot.height)) <= 0)
    return fail(
        Problem{.what = fmt::format("the region lies outside the plate, which is {}x{}", shot.width, shot.height),
                .remedy = "use the track of this plate, or measure again",
                .file = path});
  const auto [from, to] = std::minmax_element(motion->poses.begin(), motion->poses.end(),
                                              [](const Pose& a, const Pose& b) { return a.frame < b.frame; });
  if (motion->poses.empty() || from->frame > shot.last || to->frame < shot.first)
    return fail(Problem{.what = motion->poses.empty()
                                    ? std::string("this track has no frames")
                                    : fmt::format("this track has the frames {} to {}, the shot has {} to {}",
                                                  from->frame, to->frame, shot.first, shot.last),
                        .remedy = "use the track of these frames, or measure again",
                        .file = path});
  return motion;
}

// Outlines of the plane's SVG by their names, in pixels of the plate.
Result<Polygons> drawn(const Plane& p, const Shot& shot, const std::vector<std::string>& names) {
  auto drawing = load_svg(shot.path(p.region_file));
  if (!drawing) return fail(drawing.error());
  auto place = plate_from_drawing(*drawing, shot.width, shot.height);
  if (!place) return fail(place.error());
  Polygons outlines;
  for (const std::string& name : names) {
    auto outline = pick_region(*drawing, name);
    if (!outline) return fail(outline.error());
    for (Point& corner : *outline) corner = map(*place, corner);
    outlines.push_back(std::move(*outline));
  }
  return outlines;
}

Result<std::vector<Point>> region_of(const Plane& p, const Shot& shot) {
  if (p.region_file.empty()) return p.region;
  auto outlines = drawn(p, shot, {p.region_name});
  if (!outlines) return fail(outlines.error());
  return std::move(outlines->front());
}

Result<Polygons> also_of(const Plane& p, const Shot& shot) {
  if (p.also_names.empty()) return p.also;
  std::vector<std::string> names;
  for (size_t at = 0; at < p.also_names.size();) {
    const size_t end = std::min(p.also_names.find(',', at), p.also_names.size());
    std::string name = p.also_names.substr(at, end - at);
    name.erase(0, name.find_first_not_of(' '));
    name.erase(name.find_last_not_of(' ') + 1);
    if (!name.empty()) names.push_back(std::move(name));
    at = end + 1;
  }
  auto outlines = drawn(p, shot, names);
  if (!outlines) return fail(outlines.error());
  outlines->insert(outlines->begin(), p.also.begin(), p.also.end());
  return outlines;
}

// What a person has corrected; nothing without a file. It is wrong at once where it cannot be, not after the tracking.
Result<std::vector<FixedCorners>> fixed_of(const Plane& p, const std::vector<Point>& region, const Shot& shot) {
  if (p.fixed_file.empty()) return std::vector<FixedCorners>{};
  const std::string path = shot.path(p.fixed_file);
  auto text = text_of(path);
  if (!text) return fail(text.error());
  auto fixed = parse_fixed_corners(*text, path);
  if (!fixed) return fail(fixed.error());
  const auto poses = fixed_poses(*fixed, region, reference_of(p, shot), shot.first, shot.last);
  if (!poses) return fail(poses.error());
  return fixed;
}

// What is followed from where, and why when that was looked for.
struct Choice {
  int reference;
  std::vector<Point> region;
  std::string reason = {};
};

// By itself: in the region that is drawn on the first frame, or wherever it is best.
Result<Choice> choose(const Plane& p, std::vector<Point> look, const Frames& frames, const Measuring& m,
                      const std::function<bool(int, int)>& progress) {
  const bool anywhere = look.empty();
  auto planes =
      find_planes(frames, {.look = std::move(look), .most = 1, .limits = {p.model, p.lock}}, m.runner, progress);
  if (!frames.mattes.problems().empty()) return fail(frames.mattes.problems());
  if (!planes) return fail(frames.unread().empty() ? planes.error() : frames.unread());
  if (planes->empty())
    return fail(Problem{.what = fmt::format("no plane was found that can be followed{}",
                                            anywhere ? "" : " inside the region, as the first frame shows it"),
                        .remedy = "draw a region over something flat and textured, and name its frame as reference"});
  const FoundPlane& best = planes->front();
  return Choice{
      best.reference, best.region,
      fmt::format("chosen: reference = {}, region = {}: {}", best.reference, to_text(best.region), best.reason)};
}

Result<Measured> measure(const Plane& p, const Measuring& m) {
  if (!p.file.empty()) {
    auto motion = from_file(p, m.shot);
    if (!motion) return fail(motion.error());
    std::vector<int> without;
    for (int f = m.shot.first; f <= m.shot.last; ++f)
      if (!motion->find(f)) without.push_back(f);
    if (!without.empty())
      m.warn({.what = fmt::format("this track does not have {} of the shot's frames, the first is {}", without.size(),
                                  without.front()),
              .remedy = "measure again; a track of another rate has other frames",
              .file = m.shot.path(p.file),
              .severity = Severity::warning});
    return Measured(std::move(*motion));
  }
  auto region = region_of(p, m.shot);
  if (!region) return fail(region.error());
  const Frames frames(m);
  // To choose takes about a fourth of the time.
  const auto first_part = [&](int done, int total) { return m.progress(done, 4 * total); };
  const auto last_part = [&](int done, int total) { return m.progress(total + 3 * done, 4 * total); };
  Result<Choice> choice = automatic(p) ? choose(p, std::move(*region), frames, m, first_part)
                                       : Choice{reference_of(p, m.shot), std::move(*region)};
  if (!choice) return fail(choice.error());
  auto fixed = fixed_of(p, choice->region, m.shot);
  if (!fixed) return fail(fixed.error());
  auto also = also_of(p, m.shot);
  if (!also) return fail(also.error());
  const PlaneOptions options{.reference = choice->reference,
                             .region = std::move(choice->region),
                             .also = std::move(*also),
                             .weak_px = p.weak_px,
                             .limits = {p.model, p.lock},
                             .fixed = std::move(*fixed),
                             .refine = p.refine};
  const BentOptions bent{options, m.has(kLens) ? m.lens(kLens) : Lens{}, p.readout, p.estimate_readout,
                         static_cast<int>(p.estimate_lens)};
  auto motion =
      automatic(p) ? track_bent(frames, bent, m.runner, last_part) : track_bent(frames, bent, m.runner, m.progress);
  if (!frames.mattes.problems().empty()) return fail(frames.mattes.problems());
  if (!motion && frames.unread().empty()) return fail(motion.error());
  if (!motion) {
    Problems problems = frames.unread();
    for (Problem& problem : problems) problem.remedy += "; or give the plane another reference frame";
    return fail(std::move(problems));
  }
  motion->chosen = std::move(choice->reason);
  return Measured(std::move(*motion));
}

Problems remarks(const Measured& m) {
  const Motion& motion = std::get<Motion>(m);
  std::vector<int> lost, unseen, weak;
  for (const Pose& p : motion.poses) {
    if (p.status == TrackStatus::lost) lost.push_back(p.frame);
    if (p.status == TrackStatus::weak) weak.push_back(p.frame);
    if (p.status == TrackStatus::hidden || p.status == TrackStatus::outside) unseen.push_back(p.frame);
  }
  Problems problems;
  if (!motion.chosen.empty()) problems.push_back({.what = motion.chosen, .severity = Severity::note});
  const Lens& lens = motion.lens;
  if (lens.k1_sd > 0)
    problems.push_back(
        {.what = fmt::format("the lens has k1 = {:.4f} (+- {:.4f}){}", lens.k1, lens.k1_sd,
                             lens.k2_sd > 0 ? fmt::format(", k2 = {:.4f} (+- {:.4f})", lens.k2, lens.k2_sd) : ""),
         .severity = Severity::note});
  if (motion.readout_sd > 0)
    problems.push_back({.what = fmt::format("the rows take {:.3f} (+- {:.3f}) of a frame from the first to the last",
                                            motion.readout, motion.readout_sd),
                        .severity = Severity::note});
  if (!lost.empty())
    problems.push_back({.what = fmt::format("lost on {} frames, the first is {}", lost.size(), lost.front()),
                        .remedy = "choose a reference or a region that is seen there, or fix corners (fixed_file)",
                        .severity = Severity::warning});
  if (!unseen.empty())
    problems.push_back({.what = fmt::format("hidden or outside on {} frames, the first is {}: carried over from the "
                                            "frames around",
                                            unseen.size(), unseen.front()),
                        .remedy = "look at those frames, and fix corners where they are off (fixed_file)",
                        .severity = Severity::warning});
  if (!weak.empty())
    problems.push_back({.what = fmt::format("weak on {} frames, the first is {}", weak.size(), weak.front()),
                        .remedy = "look at those frames, and fix corners where they are off (fixed_file)",
                        .severity = Severity::warning});
  return problems;
}

Result<Survey> survey(const Plane& p, const Shot& shot) {
  Survey s;
  for (const std::string& file : {p.file, p.region_file, p.fixed_file}) {
    if (file.empty()) continue;
    auto text = text_of(shot.path(file));
    if (!text) return fail(text.error());
    s.identity += file_identity(shot.path(file)) + "\n";
  }
  if (shot.width == 0) return s;
  if (!p.file.empty()) {
    if (const auto motion = from_file(p, shot); !motion) return fail(motion.error());
  } else if (!p.fixed_file.empty()) {
    const auto region = region_of(p, shot);
    if (!region) return fail(region.error());
    const auto fixed = fixed_of(p, *region, shot);
    if (!fixed) return fail(fixed.error());
  }
  return s;
}

}  // namespace

Kind declare() {
  return Declare<Plane>("plane", Family::measure, 9, "The motion of a flat thing through the shot.")
      .also({"homography", "planar"})
      .input({.name = "image", .flow = Flow::picture, .doc = "What is tracked.", .required = false})
      .input({.name = "ignore",
              .flow = Flow::matte,
              .doc = "What passes in front of the plane.",
              .required = false,
              .list = true})
      .input({.name = "lens",
              .flow = Flow::lens,
              .doc = "The lens it was filmed through; none: straight lines are straight.",
              .required = false})
      .output({"motion", Flow::motion, "The motion."})
      .param(
          "region", &Plane::region,
          {.doc = "Corners of a part of the plane, in the reference frame; four or more, any outline. With reference = "
                  "\"auto\": where to look for a plane, in the first frame; without it anywhere.",
           .unit = Unit::px,
           .example = "[[400, 80], [700, 80], [700, 420], [400, 420]]"})
      .param("region_file", &Plane::region_file,
             {.doc = "An SVG the region is drawn in, instead of its corners.", .role = Role::file_in})
      .param("region_name", &Plane::region_name, {.doc = "The id of the region in that SVG; empty: its only shape."})
      .param("also", &Plane::also,
             {.doc = "Other parts of the same plane in the reference frame, each with three corners or more: followed "
                     "together with the region, so that it is known better, and where it is hidden itself.",
              .unit = Unit::px,
              .example = "[[[760, 90], [860, 90], [860, 300], [760, 300]]]"})
      .param("also_names", &Plane::also_names, {.doc = "The ids of such parts in that SVG, with commas between them."})
      .param(
          "reference", &Plane::reference,
          {.doc =
               "The frame the region is drawn in, in which the plane is seen best; 0: the first. \"auto\": frame and "
               "region are looked for, and named with the reason.",
           .unit = Unit::frames,
           .min = -9999999,
           .max = 9999999})
      .param("weak_px", &Plane::weak_px,
             {.doc = "Frames whose corners are less certain than this (one standard deviation) are called weak.",
              .unit = Unit::px,
              .min = 0.001,
              .max = 100,
              .low = 0.05,
              .high = 2})
      .param(
          "model", &Plane::model,
          {.doc = "What the plane may do: anything; shift, turn, grow, stretch and shear; shift, turn and grow; only "
                  "shift. Fewer are known better where there is little texture.",
           .choices = {"homography", "affine", "similarity", "translation"}})
      .param("lock", &Plane::lock,
             {.doc = "The coordinate in which the region's centre stays where it is.", .choices = {"none", "x", "y"}})
      .param(
          "refine", &Plane::refine,
          {.doc =
               "Solve for all frames and one clean texture together, once all have been found: where grain is heavy, "
               "or heavier in the reference than elsewhere. Asks for a few frames that move by 2 px at most while "
               "the shutter is open; about twice the time; nothing is smoothed over time. Without it, a reference "
               "whose grain hides its texture is once made clean by a mean of such frames."})
      .param("estimate_lens", &Plane::estimate_lens,
             {.doc = "Find the lens by how the plane bends as it crosses the picture: k1, or k1 and k2 (kind lens). A "
                     "lens that is given is then where to start from.",
              .choices = {"no", "k1", "k1_k2"}})
      .param("readout", &Plane::readout,
             {.doc = "Share of a frame that a camera which reads rows one by one takes from the first to the last; "
                     "below 0: from the bottom up.",
              .unit = Unit::fraction,
              .min = -1,
              .max = 1})
      .param("estimate_readout", &Plane::estimate_readout,
             {.doc = "Find the readout by the plane's motion: the camera must shake. It is then where to start from."})
      .param("file", &Plane::file,
             {.doc = "A track file (.json) or corner positions (.csv) to use instead of measuring.",
              .role = Role::file_in})
      .param("fixed_file", &Plane::fixed_file,
             {.doc = "Corner positions (.csv, as measure writes them) of the frames you have corrected, those alone: "
                     "exact there; between them the plane is followed again from both sides and joined without a jump.",
              .role = Role::file_in})
      .rule([](const Plane& p, const Given& given) -> std::optional<Complaint> {
        if (!automatic(p)) return std::nullopt;
        if (given("file"))
          return Complaint{"reference", "is \"auto\", but file is used instead of measuring",
                           "name the frame whose corners are the region"};
        if (given("fixed_file"))
          return Complaint{"fixed_file", "corrects corners of a region that is drawn, but reference is \"auto\"",
                           "measure first, then write the reference and the region that were chosen"};
        return std::nullopt;
      })
      .rule([](const Plane& p, const Given& given) -> std::optional<Complaint> {
        if (given("also_names") && !given("region_file"))
          return Complaint{"also_names", "names parts of a drawing, but there is none",
                           "name it with region_file, or give the parts' corners with also"};
        const std::string_view name = given("also") ? "also" : "also_names";
        if (!given(name)) return std::nullopt;
        if (automatic(p))
          return Complaint{name, "tells parts of a plane that is drawn, but reference is \"auto\"",
                           "measure first, then write the reference and the region that were chosen"};
        if (given("file"))
          return Complaint{name, "tells what is measured, but file is used instead of measuring",
                           "take one of them out"};
        for (size_t i = 0; i < p.also.size(); ++i)
          if (p.also[i].size() < 3)
            return Complaint{"also", fmt::format("has {} corners in outline {}", p.also[i].size(), i + 1),
                             "a part of a plane needs 3 or more"};
        return std::nullopt;
      })
      .rule([](const Plane& p, const Given& given) -> std::optional<Complaint> {
        if (!given("fixed_file")) return std::nullopt;
        if (given("file"))
          return Complaint{"fixed_file", "corrects what is measured, but file is used instead of measuring",
                           "take one of them out"};
        if (p.readout != 0 || p.estimate_readout)
          return Complaint{"fixed_file", "cannot be used where rows are read one after the other",
                           "take it out, or the readout"};
        return std::nullopt;
      })
      .rule([](const Plane& p, const Given& given) -> std::optional<Complaint> {
        if (given("file")) return std::nullopt;
        if (!given("image")) return Complaint{"", "has no image", "a plane needs a picture there: image = \"NODE\""};
        if (given("region_file") || (automatic(p) && !given("region"))) return std::nullopt;
        if (!given("region"))
          return Complaint{"", "has no region",
                           "draw its corners: region = [[x, y], ...], four or more; or reference = \"auto\""};
        if (p.region.size() < 4)
          return Complaint{"region", fmt::format("has {} corners", p.region.size()), "a plane needs 4 or more"};
        return std::nullopt;
      })
      .rule([](const Plane& p, const Given&) -> std::optional<Complaint> {
        if (p.estimate_lens == LensTerms::no || (p.readout == 0 && !p.estimate_readout)) return std::nullopt;
        return Complaint{"estimate_lens", "does not go with a readout",
                         "find the lens in a shot whose camera is steady, and give it here by a node of kind lens"};
      })
      .fits_shot([](const Plane& p, const Shot& shot) -> std::optional<Complaint> {
        if (p.region.empty()) return std::nullopt;
        Point lo = p.region[0], hi = p.region[0];
        for (const Point& q : p.region) lo = lo.cwiseMin(q), hi = hi.cwiseMax(q);
        if (lo.x() >= shot.width || lo.y() >= shot.height || hi.x() <= 0 || hi.y() <= 0)
          return Complaint{"region", fmt::format("lies outside the plate, which is {}x{}", shot.width, shot.height),
                           "draw it over the reference frame"};
        return std::nullopt;
      })
      .fits_shot([](const Plane& p, const Shot& shot) -> std::optional<Complaint> {
        const int64_t frame = p.reference.frame.value_or(0);
        if (frame == 0 || !p.file.empty() || (frame >= shot.first && frame <= shot.last)) return std::nullopt;
        return Complaint{"reference", fmt::format("is frame {}, which the shot does not have", frame),
                         fmt::format("it has frames {} to {}", shot.first, shot.last)};
      })
      .survey(survey)
      .measure(measure)
      .save(save_motion)
      .recall(recall_motion)
      .remarks(remarks);
}

}  // namespace pw::plane_kind
