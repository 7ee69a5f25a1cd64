#include "comp/media/write_movie.h"

extern "C" {
#include <libavutil/timecode.h>
}
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <map>
#include <mutex>

#include "comp/media/movie_encoder.h"
#include "comp/media/movie_sound.h"
#include "comp/media/whole_file.h"

namespace pw {
namespace {

struct CloseOutput {
  void operator()(AVFormatContext* c) const {
    if (c->pb) avio_closep(&c->pb);
    avformat_free_context(c);
  }
};
using Output = std::unique_ptr<AVFormatContext, CloseOutput>;

}  // namespace

struct MovieWriter::Inside {
  std::string path, temporary;
  MovieWriteOptions options;
  MoviePlan plan{};
  Output output;
  AVStream* stream = nullptr;
  std::optional<MovieSound> sound;

  std::mutex encoders_mutex;
  std::vector<lav::Codec> encoders;  // Not at work.

  std::mutex mutex;  // Of everything below, and of the output.
  lav::Codec in_order;
  std::map<int, lav::Frame> frames;    // Waiting for those before them: of coders that lean on other frames,
  std::map<int, lav::Packet> packets;  // and of those that do not.
  int next = 0;
  bool failed = false, done = false;

  ~Inside() {
    output.reset();
    if (!done && !temporary.empty()) ::unlink(temporary.c_str());
  }

  tl::unexpected<Problems> wrong(int error) {
    failed = true;
    frames.clear(), packets.clear();
    // What the file's own writes met is what matters.
    if (output && output->pb && output->pb->error < 0) error = output->pb->error;
    return fail(write_problem(path, error < 0 && error > -4096 ? -error : EIO));
  }

  int write(AVPacket* p, int64_t at) {
    if (sound)
      if (const int e = sound->write_until(static_cast<double>(at + 1) / options.rate.value(), *output); e < 0)
        return e;
    p->stream_index = stream->index;
    if (p->duration == 0) p->duration = 1;
    av_packet_rescale_ts(p, {static_cast<int>(options.rate.den), static_cast<int>(options.rate.num)},
                         stream->time_base);
    const int e = av_interleaved_write_frame(output.get(), p);
    return e < 0 ? e : output->pb->error;
  }

  // Sends a frame, or the end, and writes what comes out.
  int encode_in_order(AVFrame* f) {
    int e = avcodec_send_frame(in_order.get(), f);
    const lav::Packet p = lav::packet();
    while (e >= 0) {
      e = avcodec_receive_packet(in_order.get(), p.get());
      if (e == AVERROR(EAGAIN) || e == AVERROR_EOF) return 0;
      if (e >= 0) e = write(p.get(), p->dts);
    }
    return e;
  }

  Result<lav::Codec> take_encoder() {
    {
      std::lock_guard lock(encoders_mutex);
      if (!encoders.empty()) {
        lav::Codec c = std::move(encoders.back());
        encoders.pop_back();
        return c;
      }
    }
    return encoder(path, plan, options, output->oformat->flags & AVFMT_GLOBALHEADER);
  }

  Result<lav::Packet> encode_alone(AVFrame* f) {
    auto c = take_encoder();
    if (!c) return fail(c.error());
    lav::Packet p = lav::packet();
    int e = avcodec_send_frame(c->get(), f);
    if (e >= 0) e = avcodec_receive_packet(c->get(), p.get());
    if (e < 0)
      return fail(
          Problem{.what = fmt::format("frame {} cannot be encoded ({})", f->pts + 1, lav::why(e)), .file = path});
    std::lock_guard lock(encoders_mutex);
    encoders.push_back(*std::move(c));
    return p;
  }

  // Everything that is its turn.
  int drain() {
    for (int e = 0; !failed; ++next) {
      if (const auto f = frames.find(next); f != frames.end()) {
        e = encode_in_order(f->second.get());
        frames.erase(f);
      } else if (const auto p = packets.find(next); p != packets.end()) {
        e = write(p->second.get(), next);
        packets.erase(p);
      } else {
        return 0;
      }
      if (e < 0) return e;
    }
    return 0;
  }
};

MovieWriter::MovieWriter(std::unique_ptr<Inside> inside) : inside_(std::move(inside)) {}
MovieWriter::~MovieWriter() = default;

Result<void> check_movie(const std::string& path, const MovieWriteOptions& options) {
  auto plan = plan_movie(path, options);
  if (!plan) return fail(std::move(plan.error()));
  return {};
}

std::string later_timecode(const std::string& timecode, Ratio rate, int frames) {
  AVTimecode t;
  const AVRational r{static_cast<int>(rate.num), static_cast<int>(rate.den)};
  if (timecode.empty() || av_timecode_init_from_string(&t, r, timecode.c_str(), nullptr) < 0) return "";
  char text[AV_TIMECODE_STR_SIZE];
  return av_timecode_make_string(&t, text, frames);
}

Result<std::unique_ptr<MovieWriter>> MovieWriter::open(const std::string& path, const MovieWriteOptions& options) {
  lav::be_quiet();
  auto in = std::make_unique<Inside>();
  in->path = path, in->options = options;
  auto plan = plan_movie(path, options);
  if (!plan) return fail(std::move(plan.error()));
  in->plan = *plan;
  if (auto r = check_writable(path); !r) return fail(std::move(r.error()));
  AVFormatContext* made = nullptr;
  if (avformat_alloc_output_context2(&made, nullptr, plan->container.c_str(), nullptr) < 0) throw std::bad_alloc();
  in->output.reset(made);
  made->flags |= AVFMT_FLAG_BITEXACT;
  auto codec = encoder(path, *plan, options, made->oformat->flags & AVFMT_GLOBALHEADER);
  if (!codec) return fail(std::move(codec.error()));
  AVStream* stream = in->stream = avformat_new_stream(made, nullptr);
  if (!stream || avcodec_parameters_from_context(stream->codecpar, codec->get()) < 0) throw std::bad_alloc();
  stream->time_base = (*codec)->time_base;
  stream->avg_frame_rate = stream->r_frame_rate = (*codec)->framerate;
  stream->sample_aspect_ratio = {1, 1};
  if (!options.timecode.empty()) av_dict_set(&stream->metadata, "timecode", options.timecode.c_str(), 0);
  if (!options.comment.empty()) av_dict_set(&made->metadata, "comment", options.comment.c_str(), 0);
  if (!options.sound_from.empty()) {
    auto sound =
        MovieSound::open(options.sound_from, options.sound_start, options.frames / options.rate.value(), *made, path);
    if (!sound) return fail(std::move(sound.error()));
    in->sound = *std::move(sound);
  }
  (frames_stand_alone(plan->coder) ? in->encoders.emplace_back() : in->in_order) = *std::move(codec);

  in->temporary = temporary_name(path);
  // Made first by the system's own call, for its reason when that fails; FFmpeg opens it again by its name.
  const int fd = ::open(in->temporary.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
  if (fd < 0) return fail(write_problem(path, errno));
  ::close(fd);
  av_free(made->url);
  made->url = av_strdup(lav::url(in->temporary).c_str());
  int e = avio_open(&made->pb, made->url, AVIO_FLAG_WRITE);
  AVDictionary* extra = nullptr;
  if (plan->container == "mp4") av_dict_set(&extra, "movflags", "+faststart", 0);
  if (e >= 0) e = avformat_write_header(made, &extra);
  av_dict_free(&extra);
  if (e < 0) return in->wrong(e);
  return std::unique_ptr<MovieWriter>(new MovieWriter(std::move(in)));
}

Result<Problems> MovieWriter::add(int n, const Picture& picture) {
  Inside& in = *inside_;
  const auto given_up = [&] { return fail(Problem{.what = "the movie was given up", .file = in.path}); };
  int64_t odd = 0;
  lav::Frame frame = frame_of(picture, in.plan, in.options, odd);
  frame->pts = n;
  lav::Packet packet;
  if (frames_stand_alone(in.plan.coder)) {
    auto p = in.encode_alone(frame.get());
    if (!p) return fail(std::move(p.error()));
    packet = *std::move(p);
    packet->pts = packet->dts = n;
    frame.reset();
  }
  // Whoever comes next waits here while this one writes, so that no more wait than there are threads.
  std::lock_guard lock(in.mutex);
  if (in.failed) return given_up();
  if (packet)
    in.packets[n] = std::move(packet);
  else
    in.frames[n] = std::move(frame);
  if (const int e = in.drain(); e < 0) return in.wrong(e);
  Problems warnings;
  if (odd > 0)
    warnings.push_back({.what = fmt::format("{} values are not finite numbers; 0 is written", odd),
                        .remedy = "look at what made them",
                        .file = in.path,
                        .severity = Severity::warning});
  return warnings;
}

Result<void> MovieWriter::finish() {
  Inside& in = *inside_;
  std::lock_guard lock(in.mutex);
  if (in.failed || in.next != in.options.frames)
    return fail(Problem{
        .what = fmt::format("the movie has {} of its {} frames, and is not written", in.next, in.options.frames),
        .file = in.path});
  int e = in.in_order ? in.encode_in_order(nullptr) : 0;
  if (e >= 0 && in.sound) e = in.sound->write_until(1e12, *in.output);
  if (e >= 0) e = av_write_trailer(in.output.get());
  if (e >= 0) e = in.output->pb->error;
  if (e < 0) return in.wrong(e);
  if (const int closed = avio_closep(&in.output->pb); closed < 0) return in.wrong(closed);
  if (auto r = put_in_place(in.temporary, in.path); !r) return r;
  in.done = true;
  return {};
}

}  // namespace pw
