#include "comp/media/signature.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <filesystem>

namespace pw {
namespace {

using namespace std::string_view_literals;

struct Mark {
  size_t at;
  std::string_view bytes;
  Signature means;
};

constexpr std::string_view kIsoMovie = "an MP4 or QuickTime movie";

// Longer marks stand before shorter ones that begin alike.
constexpr std::array kMarks = {
    Mark{0, "\x76\x2f\x31\x01"sv, {FileType::exr, "an EXR picture"}},
    Mark{0, "\x89PNG\r\n\x1a\n"sv, {FileType::png, "a PNG picture"}},
    Mark{0, "II*\0"sv, {FileType::tiff, "a TIFF picture"}},
    Mark{0, "MM\0*"sv, {FileType::tiff, "a TIFF picture"}},
    Mark{0, "II+\0"sv, {FileType::tiff, "a TIFF picture"}},
    Mark{0, "MM\0+"sv, {FileType::tiff, "a TIFF picture"}},
    Mark{0, "SDPX"sv, {FileType::dpx, "a DPX picture"}},
    Mark{0, "XPDS"sv, {FileType::dpx, "a DPX picture"}},
    Mark{0, "\xff\xd8\xff"sv, {FileType::jpeg, "a JPEG picture"}},
    Mark{0, "\x80\x2a\x5f\xd7"sv, {FileType::other_picture, "a Cineon picture"}},
    Mark{0, "GIF8"sv, {FileType::other_picture, "a GIF picture"}},
    Mark{0, "8BPS"sv, {FileType::other_picture, "a PSD picture"}},
    Mark{0, "#?RADIANCE"sv, {FileType::other_picture, "a Radiance picture"}},
    Mark{0, "\0\0\0\x0cjP  "sv, {FileType::other_picture, "a JPEG 2000 picture"}},
    Mark{0, "\xff\x4f\xff\x51"sv, {FileType::other_picture, "a JPEG 2000 picture"}},
    Mark{0, "BM"sv, {FileType::other_picture, "a BMP picture"}},
    Mark{8, "WEBP"sv, {FileType::other_picture, "a WebP picture"}},
    Mark{4, "ftyphei"sv, {FileType::other_picture, "a HEIF picture"}},
    Mark{4, "ftypmif1"sv, {FileType::other_picture, "a HEIF picture"}},
    Mark{4, "ftypavif"sv, {FileType::other_picture, "an AVIF picture"}},
    Mark{4, "ftyp"sv, {FileType::movie, kIsoMovie}},
    Mark{4, "moov"sv, {FileType::movie, kIsoMovie}},
    Mark{4, "mdat"sv, {FileType::movie, kIsoMovie}},
    Mark{4, "wide"sv, {FileType::movie, kIsoMovie}},
    Mark{4, "free"sv, {FileType::movie, kIsoMovie}},
    Mark{0, "\x1a\x45\xdf\xa3"sv, {FileType::movie, "a Matroska or WebM movie"}},
    Mark{8, "AVI "sv, {FileType::movie, "an AVI movie"}},
    Mark{0, "\x06\x0e\x2b\x34"sv, {FileType::movie, "an MXF movie"}},
    Mark{0, "\0\0\x01\xba"sv, {FileType::movie, "an MPEG movie"}},
    Mark{0, "\0\0\x01\xb3"sv, {FileType::movie, "an MPEG movie"}},
    Mark{0, "FLV\x01"sv, {FileType::movie, "an FLV movie"}},
    Mark{0, "OggS"sv, {FileType::movie, "an Ogg movie"}},
    Mark{0, "\x30\x26\xb2\x75\x8e\x66\xcf\x11"sv, {FileType::movie, "an ASF movie"}},
    Mark{0, "YUV4MPEG2"sv, {FileType::movie, "a YUV4MPEG movie"}},
    Mark{0, "%PDF"sv, {FileType::unknown, "a PDF document"}},
    Mark{0, "PK\x03\x04"sv, {FileType::unknown, "a ZIP archive"}},
};

bool has(ByteSpan head, size_t at, std::string_view bytes) {
  return head.size() >= at + bytes.size() &&
         std::equal(bytes.begin(), bytes.end(), head.begin() + static_cast<ptrdiff_t>(at),
                    [](char a, unsigned char b) { return static_cast<unsigned char>(a) == b; });
}

// An MPEG transport stream has no mark but the byte 47h at the start of every packet of 188 bytes.
bool is_transport_stream(ByteSpan head) {
  return head.size() > 376 && head[0] == 0x47 && head[188] == 0x47 && head[376] == 0x47;
}

bool is_text(ByteSpan head) {
  return !head.empty() && std::all_of(head.begin(), head.end(),
                                      [](unsigned char c) { return c >= 0x20 || c == '\n' || c == '\r' || c == '\t'; });
}

}  // namespace

Signature recognise(ByteSpan head) {
  head = head.first(std::min<size_t>(head.size(), 512));
  for (const Mark& m : kMarks)
    if (has(head, m.at, m.bytes)) return m.means;
  if (is_transport_stream(head)) return {FileType::movie, "an MPEG transport stream"};
  if (is_text(head)) return {FileType::unknown, "text"};
  return {FileType::unknown, "no known kind of file"};
}

bool is_still(FileType t) { return t <= FileType::jpeg; }

std::string_view name(FileType t) {
  switch (t) {
    case FileType::exr:
      return "EXR";
    case FileType::png:
      return "PNG";
    case FileType::tiff:
      return "TIFF";
    case FileType::dpx:
      return "DPX";
    case FileType::jpeg:
      return "JPEG";
    default:
      return "";
  }
}

const std::vector<std::string>& still_extensions() {
  static const std::vector<std::string> all = {".exr", ".png", ".tif", ".tiff", ".dpx", ".jpg", ".jpeg"};
  return all;
}

std::optional<FileType> type_of_extension(std::string_view path) {
  std::string e = std::filesystem::path(path).extension().string();
  for (char& c : e) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  if (e == ".exr") return FileType::exr;
  if (e == ".png") return FileType::png;
  if (e == ".tif" || e == ".tiff") return FileType::tiff;
  if (e == ".dpx") return FileType::dpx;
  if (e == ".jpg" || e == ".jpeg") return FileType::jpeg;
  return {};
}

}  // namespace pw
