#include <fmt/format.h>

#include <filesystem>
#include <fstream>

#include "comp/matte/svg_read.h"

namespace pw {

Result<SvgDrawing> load_svg(const std::string& file) {
  std::error_code error;
  const auto size = std::filesystem::file_size(file, error);
  if (error) return fail({.what = fmt::format("the drawing cannot be read: {}", error.message()), .file = file});
  if (size > kMostSvgBytes)
    return fail(
        {.what = "the drawing is larger than 64 MB", .remedy = "leave out or shrink the pictures in it", .file = file});
  std::string text(size, '\0');
  std::ifstream in(file, std::ios::binary);
  if (!in.read(text.data(), static_cast<std::streamsize>(size)))
    return fail({.what = "the drawing cannot be read", .file = file});
  return parse_svg(text, file);
}

}  // namespace pw
