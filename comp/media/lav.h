// FFmpeg's libraries as this room uses them: quiet, one thread, owners for what must be freed. Included by the movie
// readers and writers alone.
#pragma once
extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/avutil.h>
#include <libavutil/pixdesc.h>
}

#include <cstdint>
#include <memory>
#include <string>

#include "base/problem.h"

namespace pw::lav {

struct Free {
  void operator()(AVFormatContext* c) const { avformat_close_input(&c); }
  void operator()(AVCodecContext* c) const { avcodec_free_context(&c); }
  void operator()(AVPacket* p) const { av_packet_free(&p); }
  void operator()(AVFrame* f) const { av_frame_free(&f); }
};
using Format = std::unique_ptr<AVFormatContext, Free>;  // Opened for reading.
using Codec = std::unique_ptr<AVCodecContext, Free>;
using Packet = std::unique_ptr<AVPacket, Free>;
using Frame = std::unique_ptr<AVFrame, Free>;

Packet packet();  // Throw std::bad_alloc.
Frame frame();

// What FFmpeg says of a negative result.
std::string why(int error);

// Keeps FFmpeg's libraries from writing to the terminal. Done by open; for those who only write.
void be_quiet();

// How many faults FFmpeg's libraries have spoken of on this thread. Some decoders (FFV1's) say that a checksum is wrong
// and patch the frame up without another word.
int64_t faults_told();

// A movie file with its streams described. Only containers of movies are tried, and no file but this one is opened,
// whatever it says. Problems name the file.
Result<Format> open(const std::string& path);

// A decoder for a stream, with one thread.
Result<Codec> decoder(const AVStream* stream, const std::string& path);

// The path with a scheme, so that FFmpeg does not look for one in it.
std::string url(const std::string& path);

}  // namespace pw::lav
