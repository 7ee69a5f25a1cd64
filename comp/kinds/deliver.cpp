#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "comp/kinds/encoding_choice.h"
#include "comp/media/movie.h"
#include "comp/media/sequence.h"
#include "comp/media/signature.h"
#include "comp/media/write_movie.h"
#include "comp/spec/declare.h"

namespace pw::deliver_kind {
namespace {

enum class DepthChoice { usual, bits8, bits10, bits16, half, float32 };
enum class CoderChoice { usual, prores_hq, prores_4444, ffv1, h264 };
enum { kImage, kSound };
struct Deliver {
  std::string file;
  std::string encoding = "tagged";
  DepthChoice depth = DepthChoice::usual;
  std::string compression;
  int64_t quality = 95;
  CoderChoice coder = CoderChoice::usual;
  int64_t rate_factor = 18;
};

bool is_movie_file(const Deliver& p) { return usual_coder(p.file).has_value(); }

std::optional<Depth> depth_of(const Deliver& p) {
  constexpr Depth depths[] = {Depth::bits8, Depth::bits8, Depth::bits10, Depth::bits16, Depth::half, Depth::float32};
  return p.depth == DepthChoice::usual ? std::nullopt : std::optional(depths[static_cast<size_t>(p.depth)]);
}

MovieWriteOptions movie_options(const Deliver& p, const Shot& shot) {
  MovieWriteOptions o;
  if (p.coder != CoderChoice::usual) o.coder = static_cast<Coder>(static_cast<int>(p.coder) - 1);
  o.encoding = chosen(p.encoding);
  o.space = space_transform(p.encoding, shot, Colours::Way::writing);
  o.depth = depth_of(p);
  o.rate_factor = static_cast<int>(p.rate_factor);
  o.width = shot.canvas().width(), o.height = shot.canvas().height();
  o.rate = exact_rate(shot.rate);
  return o;
}

WriteOptions options(const Deliver& p, const Shot& shot) {
  WriteOptions o;
  o.encoding = chosen(p.encoding);
  o.space = space_transform(p.encoding, shot, Colours::Way::writing);
  o.depth = depth_of(p);
  o.compression = p.compression;
  o.quality = static_cast<int>(p.quality);
  return o;
}

std::string target(const Deliver& p, const Shot& shot, int frame) {
  const std::string path = shot.path(p.file);
  if (!looks_like_pattern(path)) return path;
  const auto pattern = parse_pattern(path);
  return pattern ? pattern->file(frame) : path;
}

constexpr const char* kOrigin = "PlatewrightOrigin";

std::string origin(const Deliver& p, const Shot& shot, int frame) {
  if (is_movie_file(p)) {
    const std::string comment = movie_comment(shot.path(p.file)), before = std::string(kOrigin) + "=";
    return comment.starts_with(before) ? comment.substr(before.size(), comment.find(';') - before.size()) : "";
  }
  const std::string file = target(p, shot, frame);
  const auto info = inspect_still(file);
  return info && type_of_extension(file) == info->type ? text_in(*info, kOrigin) : "";
}

Result<Problems> deliver(const Deliver& p, const Delivering& d) {
  WriteOptions o = options(p, d.shot);
  o.width = d.shot.canvas().width(), o.height = d.shot.canvas().height();
  o.texts = {{kOrigin, d.origin}, {"PlatewrightTarget", d.target}};
  return write_still(target(p, d.shot, d.frame), d.picture, o);
}

class MovieReel final : public Reel {
 public:
  MovieReel(std::unique_ptr<MovieWriter> writer, std::vector<int> frames)
      : writer_(std::move(writer)), frames_(std::move(frames)) {}
  Result<Problems> add(int frame, const Picture& picture) override {
    const auto at = std::lower_bound(frames_.begin(), frames_.end(), frame);
    return writer_->add(static_cast<int>(at - frames_.begin()), picture);
  }
  Result<void> finish() override { return writer_->finish(); }

 private:
  std::unique_ptr<MovieWriter> writer_;
  std::vector<int> frames_;
};

Result<std::unique_ptr<Reel>> reel(const Deliver& p, const Opening& opening) {
  if (!is_movie_file(p)) return nullptr;
  MovieWriteOptions o = movie_options(p, opening.shot);
  const int first = opening.frames.front();
  o.frames = static_cast<int>(opening.frames.size());
  o.timecode = later_timecode(opening.shot.timecode, o.rate, first - opening.shot.first);
  o.comment = fmt::format("{}={}; PlatewrightTarget={}", kOrigin, opening.origin, opening.target);
  if (!opening.inputs[kSound].empty()) {
    const Survey* from = opening.inputs[kSound][0];
    if (!from || !from->opened)
      return fail(Problem{.what = "sound comes from footage that is a movie, and this is none",
                          .remedy = "name the footage whose sound is wanted, or take sound out"});
    if (opening.frames.back() - first + 1 != o.frames)
      return fail(Problem{.what = "frames are left out, so the sound would not fit",
                          .remedy = "render all frames from the first to the last, or take sound out"});
    // By the shot's clock, which is the movie's own unless its rate is another.
    o.sound_from = static_cast<const Movie*>(from->opened.get())->path();
    o.sound_start = (first - from->first) / opening.shot.rate;
  }
  auto writer = MovieWriter::open(opening.shot.path(p.file), o);
  if (!writer) return fail(writer.error());
  return std::make_unique<MovieReel>(*std::move(writer), opening.frames);
}

// What can be known of the files before there are pixels; the folder is made when the first one is written.
std::optional<Complaint> writable(const Deliver& p, const Shot& shot) {
  if (is_movie_file(p)) {
    if (looks_like_pattern(p.file))
      return Complaint{"file", "has a place for the frame's number, and a movie holds all frames",
                       "write its name without, as in \"out/quay.mov\""};
    if (const auto ok = check_movie(p.file, movie_options(p, shot)); !ok)
      return Complaint{"file", "cannot be written: " + ok.error()[0].what, ok.error()[0].remedy};
    return std::nullopt;
  }
  if (looks_like_pattern(p.file)) {
    if (const auto pattern = parse_pattern(p.file); !pattern)
      return Complaint{"file", "is no pattern: " + pattern.error()[0].what, pattern.error()[0].remedy};
  } else if (shot.first != shot.last) {
    return Complaint{"file", "has no place for the frame's number",
                     "write one hash for each digit, as in \"out/quay.####.png\""};
  }
  const std::string name = std::filesystem::path(target(p, shot, shot.first)).filename().string();
  if (const auto ok = check_format(name, 3, options(p, shot)); !ok)
    return Complaint{"file", "cannot be written: " + ok.error()[0].what, ok.error()[0].remedy};
  return std::nullopt;
}

}  // namespace

Kind declare() {
  return Declare<Deliver>("deliver", Family::sink, 2,
                          "Writes the frames: EXR, PNG, TIFF, DPX, JPEG, or one movie, by the file's ending.")
      .also({"output", "export"})
      .input({"image", Flow::picture, "What is written."})
      .input({"sound", Flow::picture, "Footage whose sound goes into the movie as it is.", false})
      .param("file", &Deliver::file,
             {.doc = "The files, one hash for each digit of the frame's number; or a movie: .mov, .mp4 or .mkv.",
              .role = Role::file_out,
              .required = true,
              .changes_pixels = false,
              .example = "\"out/quay.####.png\""})
      .param("encoding", &Deliver::encoding,
             {.doc = "What the code values mean; tagged: what is usual for the format (linear for EXR, rec709-camera "
                     "for DPX and movies, else srgb).",
              .choices = kEncodingChoices,
              .beyond = space_that_is_written,
              .beyond_doc = kColourSpaceDoc})
      .param("depth", &Deliver::depth,
             {.doc = "How a component is stored; usual: half for EXR, 16 for TIFF, 10 for DPX, ProRes and "
                     "FFV1 (which also has 8 and 16), 8 for PNG, JPEG and H.264.",
              .choices = {"usual", "8", "10", "16", "half", "float"}})
      .param("compression", &Deliver::compression,
             {.doc = "EXR: none, rle, zips, zip, piz, pxr24, b44, b44a, dwaa, dwab; TIFF: none, lzw, zip; empty: zip."})
      .param("quality", &Deliver::quality, {.doc = "Of JPEG.", .min = 1, .max = 100})
      .param(
          "coder", &Deliver::coder,
          {.doc = "Of a movie. prores-hq: 4:2:2, 10 bit, for an editor; prores-4444: 4:4:4 with alpha; ffv1: RGB "
                  "without loss, for an archive; h264: 4:2:0, 8 bit, for a browser; usual: prores-hq in .mov, ffv1 in "
                  ".mkv, h264 in .mp4.",
           .choices = {"usual", "prores-hq", "prores-4444", "ffv1", "h264"}})
      .param("rate_factor", &Deliver::rate_factor,
             {.doc = "Of H.264: a smaller one is better and makes a larger file.",
              .min = 1,
              .max = 51,
              .low = 12,
              .high = 30})
      .rule([](const Deliver& p, const Given& given) -> std::optional<Complaint> {
        if (is_movie_file(p)) return std::nullopt;
        for (const char* key : {"coder", "rate_factor", "sound"})
          if (given(key)) return Complaint{key, "is said of a file that is no movie", "end it with .mov, .mp4 or .mkv"};
        return std::nullopt;
      })
      .fits_shot(writable)
      .target(target)
      .origin(origin)
      .reel(reel)
      .deliver(deliver);
}

}  // namespace pw::deliver_kind
