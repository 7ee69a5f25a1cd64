#include "comp/media/lav.h"

#include <fmt/format.h>

#include <cstdarg>
#include <mutex>
#include <new>

#include "comp/media/structure.h"

namespace pw::lav {
namespace {

// No playlists, device, or list of other files among them.
constexpr const char* kContainers =
    "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mxf,mpegts,mpeg,flv,ogg,asf,yuv4mpegpipe";

thread_local int64_t told = 0;

}  // namespace

void be_quiet() {
  static std::once_flag once;
  std::call_once(
      once, [] { av_log_set_callback([](void*, int level, const char*, va_list) { told += level <= AV_LOG_ERROR; }); });
}

int64_t faults_told() { return told; }

Packet packet() {
  Packet p(av_packet_alloc());
  if (!p) throw std::bad_alloc();
  return p;
}

Frame frame() {
  Frame f(av_frame_alloc());
  if (!f) throw std::bad_alloc();
  return f;
}

std::string why(int error) {
  char text[AV_ERROR_MAX_STRING_SIZE] = {};
  av_strerror(error, text, sizeof text);
  return text;
}

std::string url(const std::string& path) { return "file:" + path; }

Result<Format> open(const std::string& path) {
  be_quiet();
  AVFormatContext* c = avformat_alloc_context();
  if (!c) throw std::bad_alloc();
  c->format_whitelist = av_strdup(kContainers);
  c->protocol_whitelist = av_strdup("file");
  if (const int e = avformat_open_input(&c, url(path).c_str(), nullptr, nullptr); e < 0)  // Frees it on failure.
    return fail(Problem{.what = fmt::format("the movie cannot be read ({})", why(e)),
                        .remedy = "copy or export it again",
                        .file = path});
  Format format(c);
  if (const int e = avformat_find_stream_info(c, nullptr); e < 0)
    return fail(Problem{.what = fmt::format("the movie's streams cannot be made out ({})", why(e)),
                        .remedy = "copy or export it again",
                        .file = path});
  return format;
}

Result<Codec> decoder(const AVStream* stream, const std::string& path) {
  const AVCodec* codec = avcodec_find_decoder(stream->codecpar->codec_id);
  if (!codec)
    return fail(Problem{.what = fmt::format("nothing here decodes {}", avcodec_get_name(stream->codecpar->codec_id)),
                        .remedy = "export it as ProRes, H.264, HEVC, FFV1 or MJPEG",
                        .file = path});
  Codec c(avcodec_alloc_context3(codec));
  if (!c) throw std::bad_alloc();
  int e = avcodec_parameters_to_context(c.get(), stream->codecpar);
  c->thread_count = 1;
  c->max_pixels = kMostPixels;
  // A damaged frame is told, not patched up.
  c->err_recognition = AV_EF_CRCCHECK | AV_EF_BITSTREAM | AV_EF_BUFFER | AV_EF_EXPLODE;
  if (e >= 0) e = avcodec_open2(c.get(), codec, nullptr);
  if (e < 0)
    return fail(Problem{.what = fmt::format("the {} stream cannot be decoded ({})", codec->name, why(e)),
                        .remedy = "export it again",
                        .file = path});
  return c;
}

}  // namespace pw::lav
