// What a file is, as a value and in lines for a person.
#pragma once
#include <string>
#include <vector>

#include "comp/media/movie.h"
#include "comp/media/sequence.h"

namespace pw {

struct Probe {
  enum class Kind { still, sequence, movie };
  Kind kind = Kind::still;
  std::string path;         // As the person named it.
  StillInfo still;          // Of a still, or of a sequence's first frame.
  std::vector<int> frames;  // Of a sequence, ascending.
  MovieInfo movie;
  std::optional<Rect> active;  // The part that holds picture, when five frames across the whole look letterboxed.
};

// True when the file's first bytes are those of a movie; names and extensions are not trusted.
bool is_movie(const std::string& path);

// Looks at a file, or at the files of a pattern. Problems: those of read_still, open_sequence and Movie::open.
Result<Probe> probe(const std::string& path);

// One fact a line, without line ends: what, size, frames and gaps, channels, encoding, compression, data window, texts;
// of a movie its coder, rate, colour, timecode and sound.
std::vector<std::string> lines(const Probe& p);

}  // namespace pw
