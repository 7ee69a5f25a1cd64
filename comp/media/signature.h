// What a file is, told from its first bytes; names and extensions are not trusted.
#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "comp/media/whole_file.h"

namespace pw {

// The picture files that are read and written; what else is recognised so that it can be named; and the rest.
enum class FileType { exr, png, tiff, dpx, jpeg, other_picture, movie, unknown };

struct Signature {
  FileType type = FileType::unknown;
  std::string_view what;  // "a PNG picture", "an MP4 or QuickTime movie", "text", "no known kind of file".
};

// `head` is the start of the file; 512 bytes are enough.
Signature recognise(ByteSpan head);

bool is_still(FileType t);          // One of the five that are read and written.
std::string_view name(FileType t);  // "EXR", "PNG", "TIFF", "DPX", "JPEG"; empty for the rest.

// By the file's extension, in any case; nothing when pictures of that extension are not written.
std::optional<FileType> type_of_extension(std::string_view path);
// ".exr", ".png", ".tif", ".tiff", ".dpx", ".jpg", ".jpeg".
const std::vector<std::string>& still_extensions();

}  // namespace pw
