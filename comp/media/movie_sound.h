// The sound of a movie on its way into another, packet by packet as it is. Used by write_movie.cpp alone.
#pragma once
#include <map>

#include "comp/media/lav.h"

namespace pw {

class MovieSound {
 public:
  // Makes a stream in `to` for every one of sound in the movie `from`. `start`: seconds from its first frame of picture
  // at which the new movie begins; `seconds`: how long that is. Problems: no sound there, a coder the container does
  // not take; they name `path`, the new movie.
  static Result<MovieSound> open(const std::string& from, double start, double seconds, AVFormatContext& to,
                                 const std::string& path);
  // Writes what is heard before `seconds` of the new movie; a negative result is FFmpeg's error.
  int write_until(double seconds, AVFormatContext& to);

 private:
  lav::Format from_;
  lav::Packet waiting_;  // Read, but not yet heard.
  std::map<int, int> stream_;
  double origin_ = 0, seconds_ = 0;  // Of the new movie's beginning, in the times of `from_`; and its length.
  bool whole_ = false;               // From the very beginning: what stands before it (a coder's run-in) is kept.
};

}  // namespace pw
