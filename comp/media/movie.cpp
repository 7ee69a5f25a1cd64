#include "comp/media/movie.h"

extern "C" {
#include <libavutil/dict.h>
}
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <mutex>

#include "comp/colour/primaries.h"
#include "comp/colour/space_transform.h"
#include "comp/media/movie_decoder.h"
#include "comp/media/movie_structure.h"
#include "comp/media/movie_tags.h"
#include "comp/media/orientation.h"
#include "comp/media/structure.h"

namespace pw {

struct Movie::Inside {
  std::string path;
  MovieInfo info;
  MovieIndex index;
  Ratio tick;
  int stream = 0, format = 0;
  int stored_width = 0, stored_height = 0;
  AVColorSpace space{};
  AVColorRange range{};
  std::shared_ptr<const SpaceTransform> to_light;  // In the place of an encoding.
  std::mutex mutex;                                // Of the decoder.
  std::unique_ptr<MovieDecoder> decoder;

  Result<MovieFrame> decoded(int n) {
    std::lock_guard lock(mutex);
    return decoder->frame(n);
  }
};

namespace {

Problem named(Problem p, const std::string& path) {
  p.file = path;
  return p;
}

Problems named(Problems all, const std::string& path) {
  for (Problem& p : all) p.file = path;
  return all;
}

Ratio ratio(AVRational r) { return {r.num, r.den}; }

int picture_stream(const AVFormatContext& format) {
  int found = -1;
  for (unsigned i = 0; i < format.nb_streams; ++i) {
    const AVStream& s = *format.streams[i];
    if (s.codecpar->codec_type != AVMEDIA_TYPE_VIDEO || (s.disposition & AV_DISPOSITION_ATTACHED_PIC)) continue;
    if (found < 0 ||
        (s.disposition & AV_DISPOSITION_DEFAULT && !(format.streams[found]->disposition & AV_DISPOSITION_DEFAULT)))
      found = static_cast<int>(i);
  }
  return found;
}

std::optional<Problem> stream_problem(const AVStream& s) {
  const AVCodecParameters& c = *s.codecpar;
  if (c.width <= 0 || c.height <= 0)
    return Problem{.what = "the file does not say how large its pictures are, as when most of it is missing",
                   .remedy = "copy or export it again"};
  if (auto p = size_problem(c.width, c.height)) return p;
  if (c.field_order != AV_FIELD_PROGRESSIVE && c.field_order != AV_FIELD_UNKNOWN)
    return Problem{.what = "the movie is interlaced", .remedy = "make whole frames of its fields first"};
  for (const AVRational a : {c.sample_aspect_ratio, s.sample_aspect_ratio})
    if (a.num > 0 && a.den > 0 && a.num != a.den)
      return Problem{.what = fmt::format("the pixels are not square (aspect {}:{})", a.num, a.den),
                     .remedy = "resample the movie to square pixels first"};
  return std::nullopt;
}

// What may be wrong with a decoded frame whatever the others are.
std::optional<Problem> frame_problem(const AVFrame& f) {
  if (f.interlaced_frame)
    return Problem{.what = "the movie is interlaced", .remedy = "make whole frames of its fields first"};
  if (f.repeat_pict > 0)
    return Problem{.what = "the movie repeats fields (pulldown)",
                   .remedy = "take the pulldown out first, to the rate it was shot at"};
  return std::nullopt;
}

std::string text(const AVDictionary* d, const char* key) {
  const AVDictionaryEntry* e = av_dict_get(d, key, nullptr, 0);
  return e ? e->value : "";
}

std::string timecode_of(const AVFormatContext& format, const AVStream& picture) {
  std::string t = text(picture.metadata, "timecode");
  if (t.empty()) t = text(format.metadata, "timecode");
  for (unsigned i = 0; i < format.nb_streams && t.empty(); ++i) t = text(format.streams[i]->metadata, "timecode");
  return t;
}

void describe(const AVFormatContext& format, const AVStream& s, const AVFrame& first, MovieInfo& info) {
  info.container = format.iformat->long_name;
  const AVCodecDescriptor* codec = avcodec_descriptor_get(s.codecpar->codec_id);
  info.codec = codec ? codec->name : "unknown";
  if (const char* profile = avcodec_profile_name(s.codecpar->codec_id, s.codecpar->profile))
    info.codec += fmt::format(" ({})", profile);
  info.sampling = sampling_text(first);
  info.timecode = timecode_of(format, s);
  for (unsigned i = 0; i < format.nb_streams; ++i) {
    const AVCodecParameters& c = *format.streams[i]->codecpar;
    if (c.codec_type == AVMEDIA_TYPE_AUDIO)
      info.sound.push_back(fmt::format("{}, {} Hz, {} channel{}", avcodec_get_name(c.codec_id), c.sample_rate,
                                       c.ch_layout.nb_channels, c.ch_layout.nb_channels == 1 ? "" : "s"));
  }
}

// Frames without times of presentation get their place in the order in which they are given out.
Result<std::vector<PacketFacts>> timed_packets(AVFormatContext& format, int stream, const std::string& path) {
  std::vector<PacketFacts> packets = scan_packets(format, stream);
  const bool all = std::all_of(packets.begin(), packets.end(), [](const auto& p) { return p.time || !p.shown; });
  const bool by_number = std::string_view(format.iformat->name) == "avi";
  if (packets.empty() || all || !by_number) return packets;
  if (auto r = order_by_decoding(path, stream, packets); !r) return fail(r.error());
  return packets;
}

}  // namespace

Movie::Movie(std::unique_ptr<Inside> inside) : inside_(std::move(inside)) {}
Movie::~Movie() = default;

const std::string& Movie::path() const { return inside_->path; }
const MovieInfo& Movie::info() const { return inside_->info; }
int Movie::frame_at(double seconds) const { return pw::frame_at(inside_->index.times(), inside_->tick, seconds); }

Result<std::shared_ptr<const Movie>> Movie::open(const std::string& path, const MovieOptions& options) {
  if (auto p = movie_file_problem(path)) return fail(std::move(*p));
  auto format = lav::open(path);
  if (!format) return fail(std::move(format.error()));
  auto in = std::make_unique<Inside>();
  in->path = path;
  in->stream = picture_stream(**format);
  if (in->stream < 0)
    return fail(
        Problem{.what = "the file holds no moving pictures", .remedy = "name a movie that has some", .file = path});
  const AVStream& stream = *(*format)->streams[in->stream];
  if (auto p = stream_problem(stream)) return fail(named(*p, path));
  const auto orientation = orientation_of(stream);
  if (!orientation) return fail(named(orientation.error(), path));

  auto packets = timed_packets(**format, in->stream, path);
  if (!packets) return fail(std::move(packets.error()));
  auto index = MovieIndex::make(*std::move(packets));
  if (!index) return fail(named(std::move(index.error()), path));
  in->index = *std::move(index);

  MovieInfo& info = in->info;
  in->tick = ratio(stream.time_base);
  info.frames = in->index.frames();
  info.timing = timing(in->index.times(), in->tick, {ratio(stream.avg_frame_rate), ratio(stream.r_frame_rate)});
  if (const double rate = info.timing.rate.value(); rate < 0.1 || rate > 1000)
    return fail(Problem{.what = fmt::format("the movie has {:.6g} frames a second", rate),
                        .remedy = "put it into a new container at its true rate (0.1 to 1000)",
                        .file = path});
  info.seconds = static_cast<double>(in->index.times().back() - in->index.times().front()) * in->tick.value() +
                 1 / info.timing.rate.value();

  in->decoder = std::make_unique<MovieDecoder>(path, in->stream, in->index);
  const auto first = in->decoder->frame(0);
  if (!first) return fail(first.error());
  const AVFrame& f = **first;
  if (auto p = frame_problem(f)) return fail(named(*p, path));
  const auto planes = planes_of(f);
  if (!planes)
    return fail(Problem{.what = fmt::format("its pixels are stored as {}, which is not handled", sampling_text(f)),
                        .remedy = "export it as Y'CbCr or RGB of 8 to 16 bits",
                        .file = path});
  if (auto p = size_problem(f.width, f.height)) return fail(named(*p, path));
  describe(**format, stream, f, info);
  info.orientation = *orientation;
  in->stored_width = f.width, in->stored_height = f.height, in->format = f.format;
  in->space = f.colorspace, in->range = f.color_range;
  const bool turned = lies_on_its_side(*orientation);
  info.width = turned ? f.height : f.width, info.height = turned ? f.width : f.height;
  info.bits_per_pixel = 8 * double(in->index.bytes()) / (double(info.frames) * info.width * info.height);
  info.bits = planes->colour[0].bits;
  in->to_light = options.space;
  info.channels = in->to_light ? std::max(planes->channels(), 3) : planes->channels();
  if (auto r = settle_colour(f, stream, options, info); !r) return fail(named(std::move(r.error()), path));
  for (Problem& p : info.warnings) p.file = path;
  return std::shared_ptr<const Movie>(new Movie(std::move(in)));
}

Result<Picture> Movie::read(int n) const {
  const auto decoded = inside_->decoded(n);
  if (!decoded) return fail(decoded.error());
  const AVFrame& f = **decoded;
  if (auto p = frame_problem(f)) return fail(named(*p, inside_->path));
  if (f.width != inside_->stored_width || f.height != inside_->stored_height || f.format != inside_->format)
    return fail(
        {.what = fmt::format("the movie changes here to {} x {}, {}; it began as {} x {}, {}", f.width, f.height,
                             sampling_text(f), inside_->stored_width, inside_->stored_height, inside_->info.sampling),
         .remedy = "cut it in two where it changes",
         .file = inside_->path});
  if (f.colorspace != inside_->space || f.color_range != inside_->range)
    return fail(Problem{.what = "the movie's colour tags change at this frame",
                        .remedy = "cut it in two where they change",
                        .file = inside_->path});
  const Planes planes = *planes_of(f);
  const MovieInfo& info = inside_->info;
  RowsFromPlanes rows(planes, {info.matrix.value, info.range.value, info.siting.value});
  const int stored = planes.channels(), channels = info.channels;
  Canvas canvas(Rect::sized(f.width, f.height), channels);
  for (int y = 0; y < f.height; ++y) {
    float* row = canvas.row(y);
    rows.row(y, row);
    if (const auto& to_light = inside_->to_light) {
      for (int x = f.width - 1; x >= 0 && stored < channels; --x) std::fill_n(row + channels * x, 3, row[x]);
      transform(*to_light, row, static_cast<size_t>(f.width), channels);
      for (int x = 0; x < f.width && channels == 4; ++x)  // Alpha is straight.
        for (int c = 0; c < 3; ++c) row[4 * x + c] *= row[4 * x + 3];
      continue;
    }
    if (channels != 4)
      decode(info.encoding.value, row, row, static_cast<size_t>(f.width) * channels);
    else
      for (int x = 0; x < f.width; ++x) {  // Alpha is straight, and is no colour.
        float* p = row + 4 * x;
        decode(info.encoding.value, p, p, 3);
        for (int c = 0; c < 3; ++c) p[c] *= p[3];
      }
    if (info.rec2020 && channels >= 3) rec709_from_rec2020(row, static_cast<size_t>(f.width), channels);
  }
  return set_upright(std::move(canvas).finish(), info.orientation);
}

std::string movie_comment(const std::string& path) {
  if (movie_file_problem(path)) return "";
  const auto format = lav::open(path);
  return format ? text((*format)->metadata, "comment") : "";
}

}  // namespace pw
