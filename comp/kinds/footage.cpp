#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "comp/kinds/encoding_choice.h"
#include "comp/media/frames.h"
#include "comp/media/identity.h"
#include "comp/media/movie.h"
#include "comp/media/probe.h"
#include "comp/media/sequence.h"
#include "comp/spec/declare.h"
#include "warp/resample.h"

namespace pw::footage_kind {
namespace {

enum class Missing { error, hold, black };
enum class MatrixChoice { tagged, rec709, rec601, rec2020 };
enum class RangeChoice { tagged, narrow, full };
enum class SitingChoice { tagged, left, centre, top_left };
struct Footage {
  std::string file;
  std::string encoding = "tagged";
  Missing missing = Missing::error;
  int64_t start = 1;
  MatrixChoice matrix = MatrixChoice::tagged;
  RangeChoice range = RangeChoice::tagged;
  SitingChoice siting = SitingChoice::tagged;
  std::vector<double> active;
};

bool is_single(const Footage& p) { return !looks_like_pattern(p.file); }

ReadOptions read_options(const Footage& p, const Shot& shot) {
  return {chosen(p.encoding), space_transform(p.encoding, shot, Colours::Way::reading)};
}

MovieOptions movie_options(const Footage& p, const Shot& shot) {
  constexpr Matrix matrices[] = {Matrix::rec709, Matrix::rec709, Matrix::rec601, Matrix::rec2020};
  constexpr Siting sitings[] = {kLeft, kLeft, kCentre, kTopLeft};
  MovieOptions o;
  o.encoding = chosen(p.encoding);
  o.space = space_transform(p.encoding, shot, Colours::Way::reading);
  if (p.matrix != MatrixChoice::tagged) o.matrix = matrices[static_cast<int>(p.matrix)];
  if (p.range != RangeChoice::tagged) o.range = p.range == RangeChoice::full ? Range::full : Range::narrow;
  if (p.siting != SitingChoice::tagged) o.siting = sitings[static_cast<int>(p.siting)];
  return o;
}

// What only a movie has.
std::optional<std::string_view> of_movies(const Footage& p) {
  if (p.start != 1) return "start";
  if (p.matrix != MatrixChoice::tagged) return "matrix";
  if (p.range != RangeChoice::tagged) return "range";
  if (p.siting != SitingChoice::tagged) return "siting";
  return std::nullopt;
}

const Movie* movie_of(const Survey& s) { return static_cast<const Movie*>(s.opened.get()); }

double rate_of(const Shot& shot, const MovieInfo& info) { return shot.rate > 0 ? shot.rate : info.timing.rate.value(); }

// The frames of a movie at the shot's rate when its own varies, else one for one.
Result<Survey> survey_movie(const Footage& p, const Shot& shot, const std::string& path) {
  auto movie = Movie::open(path, movie_options(p, shot));
  if (!movie) return fail(movie.error());
  const MovieInfo& info = (*movie)->info();
  Survey s{.width = info.width, .height = info.height};
  int count = info.frames;
  s.rate = info.timing.constant ? info.timing.rate.value() : rate_of(shot, info);
  if (!info.timing.constant)
    count = std::max(1, static_cast<int>(std::ceil(info.seconds * rate_of(shot, info) - 1e-6)));
  for (int i = 0; i < count; ++i) s.frames.push_back(static_cast<int>(p.start) + i);
  s.first = s.frames.front(), s.last = s.frames.back();
  s.identity = file_identity(path);
  s.timecode = info.timecode;
  s.warnings = info.warnings;
  s.opened = *movie;
  return s;
}

Result<Loaded> load_movie(const Footage& p, const Shot& shot, const Movie& movie, int frame) {
  const int n = frame - static_cast<int>(p.start);
  const MovieInfo& info = movie.info();
  auto picture = movie.read(info.timing.constant ? n : movie.frame_at(n / shot.rate));
  if (!picture) return fail(std::move(picture.error()));
  return Loaded{*std::move(picture)};
}

Result<Survey> survey_files(const Footage& p, const Shot& shot) {
  const std::string path = shot.path(p.file);
  if (is_single(p) && is_movie(path)) return survey_movie(p, shot, path);
  if (const auto key = of_movies(p))
    return fail(Problem{.what = fmt::format("{} is said of a file that is no movie", *key), .remedy = "take it out"});
  Survey s;
  StillInfo info;
  if (is_single(p)) {
    auto still = inspect_still(path, read_options(p, shot));
    if (!still) return fail(still.error());
    info = *still;
    s.identity = file_identity(path);
  } else {
    auto sequence = open_sequence(path, read_options(p, shot));
    if (!sequence) return fail(sequence.error());
    info = sequence->first;
    s.frames = sequence->frames;
    s.first = s.frames.front(), s.last = s.frames.back();
    for (int f : sequence->frames) s.identity += file_identity(sequence->pattern.file(f)) + "\n";
  }
  s.width = info.width, s.height = info.height;
  s.warnings = info.warnings;
  // Any frame of an EXR sequence may have a window of its own, whatever the first one has.
  s.windows_vary = info.type == FileType::exr || info.data_window != Rect::sized(info.width, info.height);
  return s;
}

Result<Survey> survey(const Footage& p, const Shot& shot) {
  auto s = survey_files(p, shot);
  if (!s || p.active.empty()) return s;
  const auto at = [&](size_t i) { return static_cast<int>(p.active[i]); };
  s->active = {at(0), at(1), at(2), at(3)};
  if (!Rect::sized(s->width, s->height).contains(s->active))
    return fail(Problem{.what = fmt::format("active reaches beyond the picture, which is {}x{}", s->width, s->height),
                        .remedy = "write it as [left, top, right, bottom]"});
  return s;
}

// The pattern with what the survey found, without looking at the folder again.
Result<Sequence> sequence_of(const Footage& p, const Shot& shot, const Survey& s) {
  auto pattern = parse_pattern(shot.path(p.file));
  if (!pattern) return fail(pattern.error());
  Sequence sequence{std::move(*pattern), read_options(p, shot), s.frames, {}};
  sequence.first.width = s.width, sequence.first.height = s.height;
  return sequence;
}

bool is_there(const Survey& s, int frame) { return std::binary_search(s.frames.begin(), s.frames.end(), frame); }

// The frame that is held where `frame` has no file: the one before it, or the first.
int held_frame(const Survey& s, int frame) {
  const auto after = std::upper_bound(s.frames.begin(), s.frames.end(), frame);
  return after == s.frames.begin() ? s.frames.front() : *std::prev(after);
}

Picture at_scale(const Picture& p, const Shot& shot) {
  if (shot.scale == 1) return p;
  const auto bounds = mapped_bounds(scaling(shot.scale, shot.scale), p.window());
  // Held, so that the outermost pixels are not mixed with nothing.
  return resample(p, scaling(shot.scale, shot.scale), *bounds, {.edge = Edge::hold});
}

Result<Loaded> load_numbered(const Footage& p, const Shot& shot, const Survey& s, int frame) {
  auto sequence = sequence_of(p, shot, s);
  if (!sequence) return fail(sequence.error());
  auto still = read_frame(*sequence, frame);
  if (!still) return fail(still.error());
  return Loaded{std::move(still->picture), std::move(still->warnings)};
}

Result<Loaded> load(const Footage& p, const Shot& shot, const Survey& s, int frame) {
  const Movie* movie = movie_of(s);
  if (is_single(p) && !movie) {
    auto still = read_still(shot.path(p.file), read_options(p, shot));
    if (!still) return fail(still.error());
    return Loaded{at_scale(still->picture, shot), std::move(still->warnings)};
  }
  const bool there = is_there(s, frame);
  if (!there && p.missing == Missing::black) {
    const float black[] = {0, 0, 0};
    return Loaded{at_scale(Canvas::filled(Rect::sized(s.width, s.height), 3, black).finish(), shot)};
  }
  if (!there && p.missing == Missing::hold) frame = held_frame(s, frame);
  constexpr const char* hold = "or let the footage hold the last frame: missing = \"hold\"";
  if (movie && !is_there(s, frame))
    return fail(Problem{.what = "the movie has no such frame",
                        .remedy = fmt::format("it has {} to {}; change the shot's frames, {}", s.first, s.last, hold),
                        .file = movie->path()});
  auto loaded = movie ? load_movie(p, shot, *movie, frame) : load_numbered(p, shot, s, frame);
  if (!loaded) {
    for (Problem& problem : loaded.error())
      if (!there) problem.remedy = fmt::format("find the file, {}", hold);
    return fail(loaded.error());
  }
  loaded->picture = at_scale(loaded->picture, shot);
  return loaded;
}

Rect window(const Footage& p, const Shot& shot, const Survey& s, int frame) {
  std::string file = shot.path(p.file);
  if (!is_single(p)) {
    const auto sequence = sequence_of(p, shot, s);
    if (!sequence) return {};
    file = sequence->pattern.file(is_there(s, frame) ? frame : held_frame(s, frame));
  }
  const auto info = inspect_still(file);
  const Rect full = info ? info->data_window : Rect::sized(s.width, s.height);
  return *mapped_bounds(scaling(shot.scale, shot.scale), full);
}

}  // namespace

Kind declare() {
  return Declare<Footage>("footage", Family::source, 2, "Moving pictures from a movie or from numbered files.")
      .also({"plate", "clip", "sequence"})
      .output({"image", Flow::picture, "The frames."})
      .param(
          "file", &Footage::file,
          {.doc = "A movie; or the files, one hash for each digit of the frame's number; a single picture is held for "
                  "the whole shot.",
           .role = Role::file_in,
           .required = true,
           .example = "\"plate.####.png\""})
      .param("encoding", &Footage::encoding,
             {.doc = "What the code values mean; tagged: what the file says, or what is usual for its format.",
              .choices = kEncodingChoices,
              .beyond = space_that_is_read,
              .beyond_doc = kColourSpaceDoc})
      .param("missing", &Footage::missing,
             {.doc = "A frame without a file is an error, or holds the one before, or is black.",
              .choices = {"error", "hold", "black"}})
      .param("start", &Footage::start,
             {.doc = "The number of a movie's first frame.", .unit = Unit::frames, .min = -9999999, .max = 9999999})
      .param(
          "matrix", &Footage::matrix,
          {.doc = "By which weights a movie's luma was made (BT.709, BT.601, BT.2020); tagged: what the file says, or "
                  "rec709 from 720 lines up and else rec601.",
           .choices = {"tagged", "rec709", "rec601", "rec2020"}})
      .param(
          "range", &Footage::range,
          {.doc = "Whether black and white of a movie are 16 and 235 (of 8 bits) or 0 and 255; tagged: what the file "
                  "says, or narrow.",
           .choices = {"tagged", "narrow", "full"}})
      .param("siting", &Footage::siting,
             {.doc = "Where a movie's colour samples lie among those of luma; tagged: what the file says, or left.",
              .choices = {"tagged", "left", "centre", "top-left"}})
      .param(
          "active", &Footage::active,
          {.doc = "Of letterboxed frames the part that holds picture: left, top, right, bottom, as in "
                  "[0, 138, 1920, 942]; probe tells it. Around it the footage is clear, so nothing is measured of the "
                  "bars. What is delivered gets those of the footage the shot is like as they were, unless it has "
                  "alpha. Empty: no bars.",
           .unit = Unit::px,
           .min = 0,
           .max = 1 << 20})
      .rule([](const Footage& p, const Given&) -> std::optional<Complaint> {
        const auto& a = p.active;
        const bool whole = std::all_of(a.begin(), a.end(), [](double v) { return v == std::floor(v); });
        if (a.empty() || (a.size() == 4 && whole && a[0] < a[2] && a[1] < a[3])) return std::nullopt;
        return Complaint{"active", "is no rectangle of whole pixels", "write it as [left, top, right, bottom]"};
      })
      .survey(survey)
      .load(load)
      .window(window);
}

}  // namespace pw::footage_kind
