#include "comp/media/movie_decoder.h"

extern "C" {
#include <libavutil/imgutils.h>
}
#include <fmt/format.h>

namespace pw {
namespace {

constexpr int64_t kKeptBytes = int64_t{192} << 20;

std::optional<int64_t> known(int64_t time) { return time == AV_NOPTS_VALUE ? std::nullopt : std::optional(time); }

int64_t bytes_of(const AVFrame& f) {
  return std::max(1, av_image_get_buffer_size(static_cast<AVPixelFormat>(f.format), f.width, f.height, 32));
}

bool is_faulty(const AVFrame& f) { return (f.flags & AV_FRAME_FLAG_CORRUPT) || f.decode_error_flags; }

}  // namespace

std::vector<PacketFacts> scan_packets(AVFormatContext& format, int stream) {
  std::vector<PacketFacts> packets;
  const lav::Packet p = lav::packet();
  while (av_read_frame(&format, p.get()) >= 0) {
    if (p->stream_index == stream)
      packets.push_back({p->pos, p->size, known(p->pts), known(p->dts), (p->flags & AV_PKT_FLAG_KEY) != 0,
                         (p->flags & AV_PKT_FLAG_DISCARD) == 0});
    av_packet_unref(p.get());
  }
  return packets;
}

Result<void> order_by_decoding(const std::string& path, int stream, std::vector<PacketFacts>& packets) {
  auto format = lav::open(path);
  if (!format) return fail(format.error());
  auto codec = lav::decoder((*format)->streams[stream], path);
  if (!codec) return fail(codec.error());
  (*codec)->err_recognition = 0;  // Only the order is wanted here; faults are told when a frame is.
  for (PacketFacts& p : packets) p.time.reset(), p.shown = false;
  const lav::Packet p = lav::packet();
  const lav::Frame f = lav::frame();
  int64_t fed = 0, place = 0;
  const auto receive = [&] {
    while (avcodec_receive_frame(codec->get(), f.get()) >= 0)
      if (f->pts >= 0 && f->pts < static_cast<int64_t>(packets.size())) {
        PacketFacts& facts = packets[static_cast<size_t>(f->pts)];
        if (!facts.shown) facts.shown = true, facts.time = place++;
      }
  };
  while (av_read_frame((*format).get(), p.get()) >= 0) {
    if (p->stream_index == stream) {
      p->pts = fed++, p->dts = AV_NOPTS_VALUE;
      (void)avcodec_send_packet(codec->get(), p.get());
      receive();
    }
    av_packet_unref(p.get());
  }
  (void)avcodec_send_packet(codec->get(), nullptr);
  receive();
  return {};
}

tl::unexpected<Problems> MovieDecoder::wrong(std::string what, std::string remedy) const {
  return fail(Problem{.what = std::move(what), .remedy = std::move(remedy), .file = path_});
}

Result<MovieFrame> MovieDecoder::frame(int n) {
  if (const auto it = kept_.find(n); it != kept_.end()) return it->second;
  const int start = index_.start_for(n);
  // On from where it stands, unless a later start saves decoding.
  const bool goes_on = start_ >= 0 && n > last_ && start <= next_ && start_ <= start;
  if (!goes_on)
    if (auto r = go_to(start); !r) return fail(std::move(r.error()));
  for (int from = start_;;) {
    MovieFrame found;
    const auto end = decode_until(n, found);
    if (!end) return fail(end.error());
    if (*end == End::found) return found;
    if (from == 0 || damaged(n)) break;
    // A start that was marked as one and was none: from the one before.
    from = index_.start_before(from);
    if (auto r = go_to(from); !r) return fail(std::move(r.error()));
  }
  return wrong(fault_.empty() ? "the frame cannot be decoded" : fmt::format("the frame cannot be decoded ({})", fault_),
               "copy the movie again, or export it again");
}

Result<void> MovieDecoder::reopen() {
  codec_.reset();
  auto format = lav::open(path_);
  if (!format) return fail(std::move(format.error()));
  format_ = *std::move(format);
  if (stream_ >= static_cast<int>(format_->nb_streams)) return wrong("the file changed while it was read", "");
  for (unsigned i = 0; i < format_->nb_streams; ++i)
    format_->streams[i]->discard = static_cast<int>(i) == stream_ ? AVDISCARD_DEFAULT : AVDISCARD_ALL;
  auto codec = lav::decoder(format_->streams[stream_], path_);
  if (!codec) return fail(std::move(codec.error()));
  codec_ = *std::move(codec);
  next_ = 0;
  return {};
}

Result<void> MovieDecoder::go_to(int start) {
  if (!codec_ || start == 0)
    if (auto r = reopen(); !r) return r;
  start_ = start, last_ = -1;
  damaged_.clear(), fault_.clear();
  if (start == 0) return {};
  // The demuxer is sent to the start, and where it landed is read off the packets themselves.
  for (int key = start; index_.can_seek(); key = index_.start_before(key)) {
    const PacketFacts& facts = index_.packet(key);
    const auto time = facts.decoding_time ? facts.decoding_time : facts.time;
    if (!time || av_seek_frame(format_.get(), stream_, *time, AVSEEK_FLAG_BACKWARD) < 0) break;
    avcodec_flush_buffers(codec_.get());
    const lav::Packet p = lav::packet();
    std::optional<int> at;
    while (!at && av_read_frame(format_.get(), p.get()) >= 0) {
      if (p->stream_index == stream_) {
        at = index_.find(p->pos, p->size);
        if (!at) break;
      }
      if (!at || *at < start) av_packet_unref(p.get());
    }
    if (!at || *at > start) {
      if (key == 0) break;
      continue;
    }
    next_ = *at + 1;
    while (next_ <= start) {
      if (av_read_frame(format_.get(), p.get()) < 0) break;
      if (p->stream_index == stream_) ++next_;
      if (next_ <= start) av_packet_unref(p.get());
    }
    if (next_ != start + 1) break;
    send(start, p.get());
    return {};
  }
  if (auto r = reopen(); !r) return r;
  while (next_ < start) {  // Through the file, without decoding.
    const lav::Packet p = lav::packet();
    if (av_read_frame(format_.get(), p.get()) < 0) return wrong("the file changed while it was read", "");
    next_ += p->stream_index == stream_;
  }
  return {};
}

Result<bool> MovieDecoder::feed() {
  const lav::Packet p = lav::packet();
  while (av_read_frame(format_.get(), p.get()) >= 0) {
    if (p->stream_index != stream_) {
      av_packet_unref(p.get());
      continue;
    }
    const int number = next_++;
    if (number >= index_.packets() || index_.packet(number).size != p->size)
      return wrong("the file changed while it was read", "wait until it is whole, and run again");
    send(number, p.get());
    return true;
  }
  (void)avcodec_send_packet(codec_.get(), nullptr);
  return false;
}

void MovieDecoder::send(int number, AVPacket* p) {
  p->pts = number, p->dts = AV_NOPTS_VALUE;  // So that a frame tells which packet it came from.
  const int64_t told = lav::faults_told();
  if (const int e = avcodec_send_packet(codec_.get(), p); e < 0 && e != AVERROR(EAGAIN))
    damaged_.insert(number), fault_ = lav::why(e);
  note_checksum(told);
}

void MovieDecoder::note_checksum(int64_t told_before) {
  if (codec_->codec_id == AV_CODEC_ID_FFV1 && lav::faults_told() != told_before)
    damaged_.insert(next_ - 1), fault_ = "its checksum is wrong";
}

bool MovieDecoder::damaged(int n) const {
  for (int p : damaged_)
    if (index_.leans_on(n, p)) return true;
  return false;
}

Result<MovieDecoder::End> MovieDecoder::decode_until(int n, MovieFrame& found) {
  const int first_good = index_.frame_of(start_);  // Frames shown before the start lean on what was not decoded.
  const int end = index_.packet_of(n);
  bool more = true;
  for (int idle = 0; idle < 64;) {
    const MovieFrame f(lav::frame().release(), lav::Free());
    const int64_t told = lav::faults_told();
    const int e = avcodec_receive_frame(codec_.get(), const_cast<AVFrame*>(f.get()));
    note_checksum(told);
    if (e == AVERROR(EAGAIN)) {
      if (!more) break;
      const auto fed = feed();
      if (!fed) return fail(fed.error());
      more = *fed;
      continue;
    }
    if (e == AVERROR_EOF) break;
    if (e < 0) {
      damaged_.insert(next_ - 1), fault_ = lav::why(e);
      ++idle;
      continue;
    }
    idle = 0;
    const int64_t packet = f->pts;
    if (packet < 0 || packet >= index_.packets()) continue;
    const int number = index_.frame_of(static_cast<int>(packet));
    if (number < 0 || number < first_good) continue;
    last_ = std::max(last_, number);
    if (is_faulty(*f)) damaged_.insert(static_cast<int>(packet)), fault_ = "damaged data";
    if (damaged(number)) {
      if (number == n) break;
      continue;
    }
    keep(number, f);
    if (number == n) {
      found = f;
      return End::found;
    }
    if (number > n && packet > end) break;
  }
  if (!more) start_ = -1;  // Drained: the next run begins anew.
  if (!more) codec_.reset();
  return End::missed;
}

void MovieDecoder::keep(int n, const MovieFrame& f) {
  if (!kept_.emplace(n, f).second) return;
  kept_order_.push_back(n);
  kept_bytes_ += bytes_of(*f);
  while (kept_bytes_ > kKeptBytes && kept_order_.size() > 1) {
    const auto it = kept_.find(kept_order_.front());
    kept_order_.pop_front();
    kept_bytes_ -= bytes_of(*it->second);
    kept_.erase(it);
  }
}

}  // namespace pw
