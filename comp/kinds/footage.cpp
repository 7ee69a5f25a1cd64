#include <fmt/format.h>

#include <algorithm>

#include "comp/kinds/encoding_choice.h"
#include "comp/media/frames.h"
#include "comp/media/identity.h"
#include "comp/media/sequence.h"
#include "comp/spec/declare.h"
#include "warp/resample.h"

namespace pw {
namespace {

enum class Missing { error, hold, black };
struct Footage {
  std::string file;
  EncodingChoice encoding = EncodingChoice::tagged;
  Missing missing = Missing::error;
};

bool is_single(const Footage& p) { return !looks_like_pattern(p.file); }

Result<Survey> survey(const Footage& p, const Shot& shot) {
  const std::string path = shot.path(p.file);
  Survey s;
  StillInfo info;
  if (is_single(p)) {
    auto still = inspect_still(path, {chosen(p.encoding)});
    if (!still) return fail(still.error());
    info = *still;
    s.identity = file_identity(path);
  } else {
    auto sequence = open_sequence(path, {chosen(p.encoding)});
    if (!sequence) return fail(sequence.error());
    info = sequence->first;
    s.frames = sequence->frames;
    s.first = s.frames.front(), s.last = s.frames.back();
    for (int f : sequence->frames) s.identity += file_identity(sequence->pattern.file(f)) + "\n";
  }
  s.width = info.width, s.height = info.height;
  // Any frame of an EXR sequence may have a window of its own, whatever the first one has.
  s.windows_vary = info.type == FileType::exr || info.data_window != Rect::sized(info.width, info.height);
  return s;
}

// The pattern with what the survey found, without looking at the folder again.
Result<Sequence> sequence_of(const Footage& p, const Shot& shot, const Survey& s) {
  auto pattern = parse_pattern(shot.path(p.file));
  if (!pattern) return fail(pattern.error());
  Sequence sequence{std::move(*pattern), {chosen(p.encoding)}, s.frames, {}};
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

Result<Picture> load(const Footage& p, const Shot& shot, const Survey& s, int frame) {
  if (is_single(p)) {
    auto still = read_still(shot.path(p.file), {chosen(p.encoding)});
    if (!still) return fail(still.error());
    return at_scale(still->picture, shot);
  }
  auto sequence = sequence_of(p, shot, s);
  if (!sequence) return fail(sequence.error());
  if (!is_there(s, frame)) {
    if (p.missing == Missing::black) {
      const float black[] = {0, 0, 0};
      return at_scale(Canvas::filled(Rect::sized(s.width, s.height), 3, black).finish(), shot);
    }
    if (p.missing == Missing::hold) frame = held_frame(s, frame);
  }
  auto still = read_frame(*sequence, frame);
  if (!still) {
    for (Problem& problem : still.error())
      if (!is_there(s, frame))
        problem.remedy = "find the file, or let the footage hold the last frame: missing = \"hold\"";
    return fail(still.error());
  }
  return at_scale(still->picture, shot);
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

Kind footage_kind() {
  return Declare<Footage>("footage", Family::source, 1, "Moving pictures from numbered files.")
      .also({"plate", "clip", "sequence"})
      .output({"image", Flow::picture, "The frames."})
      .param(
          "file", &Footage::file,
          {.doc = "The files, one hash for each digit of the frame's number; a single file is held for the whole shot.",
           .role = Role::file_in,
           .required = true,
           .example = "\"plate.####.png\""})
      .param("encoding", &Footage::encoding,
             {.doc = "What the code values mean; tagged: what the file says, or what is usual for its format.",
              .choices = kEncodingChoices})
      .param("missing", &Footage::missing,
             {.doc = "A frame without a file is an error, or holds the one before, or is black.",
              .choices = {"error", "hold", "black"}})
      .survey(survey)
      .load(load)
      .window(window);
}

}  // namespace pw
