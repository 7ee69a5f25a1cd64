// What a file is, as a value and in lines for a person.
#pragma once
#include <string>
#include <vector>

#include "comp/media/sequence.h"

namespace pw {

struct Probe {
  enum class Kind { still, sequence, movie };
  Kind kind = Kind::still;
  std::string path;         // As the person named it.
  StillInfo still;          // Of a still, or of a sequence's first frame.
  std::vector<int> frames;  // Of a sequence, ascending.
  std::string movie_type;   // "an MP4 or QuickTime movie".
};

// Looks at a file, or at the files of a pattern. A movie is known by its content; it cannot be read yet. Problems:
// those of read_still and open_sequence.
Result<Probe> probe(const std::string& path);

// One fact a line, without line ends: what, size, frames and gaps, channels, encoding, compression, data window, texts.
std::vector<std::string> lines(const Probe& p);

}  // namespace pw
