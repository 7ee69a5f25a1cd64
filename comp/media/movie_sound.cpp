#include "comp/media/movie_sound.h"

#include <fmt/format.h>

namespace pw {

Result<MovieSound> MovieSound::open(const std::string& from, double start, double seconds, AVFormatContext& to,
                                    const std::string& path) {
  auto format = lav::open(from);
  if (!format) return fail(std::move(format.error()));
  MovieSound s;
  s.from_ = *std::move(format);
  double first = 0;
  for (unsigned i = 0; i < s.from_->nb_streams; ++i) {
    AVStream& in = *s.from_->streams[i];
    if (in.codecpar->codec_type == AVMEDIA_TYPE_VIDEO && in.start_time != AV_NOPTS_VALUE)
      first = static_cast<double>(in.start_time) * av_q2d(in.time_base);
    if (in.codecpar->codec_type != AVMEDIA_TYPE_AUDIO) {
      in.discard = AVDISCARD_ALL;
      continue;
    }
    const char* coder = avcodec_get_name(in.codecpar->codec_id);
    if (avformat_query_codec(to.oformat, in.codecpar->codec_id, FF_COMPLIANCE_NORMAL) != 1)
      return fail(Problem{.what = fmt::format("its container takes no sound of the kind {} has ({})", from, coder),
                          .remedy = "deliver .mov or .mkv, or leave the sound out",
                          .file = path});
    AVStream* out = avformat_new_stream(&to, nullptr);
    if (!out || avcodec_parameters_copy(out->codecpar, in.codecpar) < 0) throw std::bad_alloc();
    out->codecpar->codec_tag = 0;
    out->time_base = in.time_base;
    s.stream_[static_cast<int>(i)] = out->index;
  }
  if (s.stream_.empty())
    return fail(Problem{.what = fmt::format("{} has no sound", from), .remedy = "leave the sound out", .file = path});
  s.origin_ = first + start, s.seconds_ = seconds, s.whole_ = start == 0;
  s.waiting_ = lav::packet();
  return s;
}

int MovieSound::write_until(double seconds, AVFormatContext& to) {
  seconds = std::min(seconds, seconds_);
  for (;;) {
    AVPacket* p = waiting_.get();
    if (!p->data && !p->side_data) {
      if (av_read_frame(from_.get(), p) < 0) return 0;
    }
    const auto stream = stream_.find(p->stream_index);
    if (stream == stream_.end() || p->pts == AV_NOPTS_VALUE) {
      av_packet_unref(p);
      continue;
    }
    const AVRational tick = from_->streams[p->stream_index]->time_base;
    const double at = static_cast<double>(p->pts) * av_q2d(tick) - origin_;
    if (at >= seconds) return 0;
    if (at < 0 && !whole_) {
      av_packet_unref(p);
      continue;
    }
    const auto shift = static_cast<int64_t>(origin_ / av_q2d(tick) + (origin_ < 0 ? -0.5 : 0.5));
    p->pts -= shift;
    if (p->dts != AV_NOPTS_VALUE) p->dts -= shift;
    p->stream_index = stream->second;
    p->pos = -1;
    av_packet_rescale_ts(p, tick, to.streams[p->stream_index]->time_base);
    if (const int e = av_interleaved_write_frame(&to, p); e < 0) return e;  // Takes the packet.
  }
}

}  // namespace pw
