// Numbered files: quay.####.png and the frames that are there.
//
// One hash is one digit, so #### is four and frame 7 is quay.0007.png; %04d says the same. (OpenImageIO's own reading
// of a hash is four digits; it is not used here.) Numbers wider than the pad are written in full. Only the file's name
// holds a pattern; a hash in a folder's name is a plain hash, and %% is a plain percent sign.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "comp/media/still.h"

namespace pw {

struct FilePattern {
  std::string text;        // As the person wrote it.
  std::string head, tail;  // Before and after the number, with the folder.
  int digits = 0;          // The number is padded with zeros to so many; a minus sign counts as one, as printf has it.
  std::string file(int frame) const;
};

// True when the file's name holds # or %, so that parse_pattern should be asked.
bool looks_like_pattern(std::string_view path);

// Problems: no pattern, several, one that is malformed.
Result<FilePattern> parse_pattern(const std::string& path);

// The frames whose files are there, ascending. Problems: the folder is missing or cannot be read; no file fits (the
// remedy names a pattern that would, when there is one).
Result<std::vector<int>> scan_frames(const FilePattern& pattern);

// A sequence opened for reading.
struct Sequence {
  FilePattern pattern;
  ReadOptions options;
  std::vector<int> frames;  // Ascending, at least one.
  StillInfo first;          // Of the first frame's file; all others must have its size.
};
Result<Sequence> open_sequence(const std::string& path, const ReadOptions& options = {});

// Problems carry the frame and name its file: those of read_still, a frame that is not there, a size that differs from
// the first frame's.
Result<StillFile> read_frame(const Sequence& sequence, int frame);

}  // namespace pw
