// One encoder of FFmpeg's libraries, set up for a coder; and pictures as frames for it. Used by write_movie.cpp alone.
#pragma once
#include "comp/media/lav.h"
#include "comp/media/write_movie.h"

namespace pw {

// Everything decided about a movie that is to be written.
struct MoviePlan {
  Coder coder;
  Encoding encoding;
  AVPixelFormat pixels;
  std::string container;                        // FFmpeg's name of the muxer.
  std::shared_ptr<const SpaceTransform> space;  // In the place of the encoding.
};
Result<MoviePlan> plan_movie(const std::string& path, const MovieWriteOptions& options);

// Each frame is coded on its own, so that several encoders share the work and give the same bytes as one.
inline bool frames_stand_alone(Coder c) { return c != Coder::h264; }

Result<lav::Codec> encoder(const std::string& path, const MoviePlan& plan, const MovieWriteOptions& options,
                           bool global_header);

// The picture over the canvas, clear where it has no pixels, as a frame with its tags. Counts numbers that were not
// finite; they are written as 0.
lav::Frame frame_of(const Picture& picture, const MoviePlan& plan, const MovieWriteOptions& options, int64_t& odd);

}  // namespace pw
