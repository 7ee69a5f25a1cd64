#include "track/register.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <span>

#include "base/alpha.h"
#include "comp/kinds/measured_frames.h"
#include "comp/kinds/still_file.h"
#include "comp/spec/declare.h"
#include "warp/resample.h"

namespace pw::register_kind {
namespace {

struct Register {
  std::string file;
  std::string encoding = "tagged";
  Polygon region, still_points, plate_points;
  int64_t reference = 0;
  bool align = true;
  ColourMatch colour = ColourMatch::gain;
  double weak_px = 0.5;
};
enum { kImage, kIgnore };

std::string numbers(std::span<const double> v) { return fmt::format("{}", fmt::join(v, " ")); }

// As lines of names and numbers, so that a person can read in the stored file how the still lies.
std::string told(const Registration& r, int reference) {
  const Eigen::Matrix<double, 3, 3, Eigen::RowMajor> h = r.plate_from_still, c = r.colour;
  return fmt::format(
      "plate_from_still {}\nplate_from_still_colour {}\nreference {}\nstatus {}\nresidual {}\nagreeing {} of {}\n"
      "corner_covariance {}\n",
      numbers({h.data(), 9}), numbers({c.data(), 9}), reference, name(r.status), r.residual, r.agreeing, r.tried,
      numbers(r.corner_covariance));
}

Result<Measured> measure(const Register& p, const Measuring& m) {
  auto file = read_still_file(p.file, p.encoding, m);
  if (!file) return fail(file.error());
  const int reference = p.reference ? static_cast<int>(p.reference) : m.shot.first;
  const MeasuredFrames frames(m);
  const Picture plate = frames.get(kImage, 0, reference), ignore = frames.mattes(kIgnore, reference);
  if (!frames.problems().empty()) return fail(frames.problems());
  Picture still = std::move(*file);
  still = still.moved(-still.window().x0, -still.window().y0);
  auto r = register_still(plate, ignore, still,
                          {.region = p.region,
                           .still_points = p.still_points,
                           .plate_points = p.plate_points,
                           .align = p.align,
                           .colour = p.colour,
                           .weak_px = p.weak_px},
                          m.runner);
  if (!r) return fail(r.error());
  // Not more than a plate's size beyond the plate: a plane seen edge-on would reach to the horizon.
  const Rect canvas = m.shot.canvas(), most{-canvas.x1, -canvas.y1, 2 * canvas.x1, 2 * canvas.y1};
  const auto bounds = mapped_bounds(r->plate_from_still, still.window());
  const Rect window = bounds ? intersect(bounds->grown(8), most) : most;
  Canvas laid = Canvas::clear(window, 4);
  const Picture whole = with_alpha(coloured(still, r->colour));
  constexpr int kBand = 32;
  m.runner.run((window.height() + kBand - 1) / kBand, [&](size_t i) {
    const int y0 = window.y0 + static_cast<int>(i) * kBand;
    const Rect band{window.x0, y0, window.x1, std::min(y0 + kBand, window.y1)};
    const Picture part = resample(whole, r->plate_from_still, band);
    for (int y = band.y0; y < band.y1; ++y) std::copy_n(part.row(y), size_t{4} * band.width(), laid.row(y));
  });
  Still made{.picture = std::move(laid).finish(), .own_frame = reference};
  made.fit = told(*r, reference);
  made.doubt = r->reason;
  return Measured(std::move(made));
}

constexpr const char *kKey = "PlatewrightKey", *kFit = "PlatewrightFit", *kDoubt = "PlatewrightDoubt",
                     *kReference = "PlatewrightReference";

Result<void> save(const Measured& m, const std::string& stem, const std::string& key) {
  const Still& s = std::get<Still>(m);
  return save_still(s, stem,
                    {{kKey, key}, {kReference, fmt::format("{}", *s.own_frame)}, {kFit, s.fit}, {kDoubt, s.doubt}});
}

Result<Measured> recall(const std::string& stem, const std::string& key) {
  auto read = read_still(stem + ".exr");
  if (!read) return fail(read.error());
  if (text_in(read->info, kKey) != key) return fail(Problem{.what = "it came from something else"});
  const std::string reference = text_in(read->info, kReference);
  int frame = 0;
  const auto [end, error] = std::from_chars(reference.data(), reference.data() + reference.size(), frame);
  if (error != std::errc{} || end != reference.data() + reference.size())
    return fail(Problem{.what = "it does not say which frame it lies in"});
  Still s{.picture = std::move(read->picture), .own_frame = frame};
  s.fit = text_in(read->info, kFit), s.doubt = text_in(read->info, kDoubt);
  return Measured(std::move(s));
}

Problems remarks(const Measured& m) {
  const Still& s = std::get<Still>(m);
  if (s.doubt.empty()) return {};
  return {{.what = s.doubt,
           .remedy = "look at it over the reference frame; pairs of points or another region may help",
           .severity = Severity::warning}};
}

}  // namespace

Kind declare() {
  return Declare<Register>("register", Family::bake, 1,
                           "A still from another lens, place, size or grade, laid over the plate's reference frame.")
      .also({"align", "match still", "photo match"})
      .input({"image", Flow::picture, "The plate."})
      .input({.name = "ignore",
              .flow = Flow::matte,
              .doc = "Where the plate does not show the plane in the reference frame.",
              .required = false,
              .list = true})
      .output({"image", Flow::picture, "The still as the reference frame sees the plane; pin moves it on."})
      .param("file", &Register::file,
             {.doc = "The still.", .role = Role::file_in, .required = true, .example = "\"wall.png\""})
      .param("encoding", &Register::encoding, still_encoding())
      .param("region", &Register::region,
             {.doc = "Corners of the part of the plane that both show, in the reference frame; four or more.",
              .unit = Unit::px,
              .required = true,
              .example = "[[400, 80], [700, 80], [700, 420], [400, 420]]"})
      .param("reference", &Register::reference,
             {.doc = "The frame the still is laid over, the reference of the motion it is pinned with; 0: the first.",
              .unit = Unit::frames,
              .min = -9999999,
              .max = 9999999})
      .param("still_points", &Register::still_points,
             {.doc = "Places in the still, in its own pixels, four or more; without them features are looked for.",
              .unit = Unit::px})
      .param("plate_points", &Register::plate_points,
             {.doc = "The same places in the reference frame, in the same order.", .unit = Unit::px})
      .param("align", &Register::align,
             {.doc = "Align it to a part of a pixel from where points or features put it; false: as the points say."})
      .param("colour", &Register::colour,
             {.doc = "Brings its colour to the plate's: not at all, by a gain for each channel, by a 3 x 3 matrix.",
              .choices = {"none", "gain", "matrix"}})
      .param("weak_px", &Register::weak_px,
             {.doc = "It is called weak when a corner is less certain than this (one standard deviation).",
              .unit = Unit::px,
              .min = 0.001,
              .max = 100,
              .low = 0.05,
              .high = 2})
      .rule([](const Register& p, const Given&) -> std::optional<Complaint> {
        if (p.region.size() >= 4) return std::nullopt;
        return Complaint{"region", fmt::format("has {} corners", p.region.size()), "a plane needs 4 or more"};
      })
      .rule([](const Register& p, const Given&) -> std::optional<Complaint> {
        if (p.still_points.size() != p.plate_points.size())
          return Complaint{p.still_points.size() > p.plate_points.size() ? "still_points" : "plate_points",
                           "has points without a partner", "give the same places in the still and in the plate"};
        if (!p.still_points.empty() && p.still_points.size() < 4)
          return Complaint{"still_points", fmt::format("has {} points", p.still_points.size()), "give 4 or more"};
        if (p.still_points.empty() && !p.align)
          return Complaint{"align", "is false, but there are no points", "give still_points and plate_points"};
        return std::nullopt;
      })
      .fits_shot([](const Register& p, const Shot& shot) -> std::optional<Complaint> {
        if (p.reference == 0 || (p.reference >= shot.first && p.reference <= shot.last)) return std::nullopt;
        return Complaint{"reference", fmt::format("is frame {}, which the shot does not have", p.reference),
                         fmt::format("it has frames {} to {}", shot.first, shot.last)};
      })
      .survey([](const Register& p, const Shot& shot) { return survey_still_file(p.file, p.encoding, shot); })
      .measure(measure)
      .save(save)
      .recall(recall)
      .remarks(remarks)
      .extent([](const Register&, const Ask& a) { return still_extent(own_still(a), a.shot); })
      .make([](const Register&, const Making& m) {
        const Picture& p = own_still(m).picture;
        return m.shot.scale == 1 ? p.cropped(m.rect) : resample(p, scaling(m.shot.scale, m.shot.scale), m.rect);
      });
}

}  // namespace pw::register_kind
