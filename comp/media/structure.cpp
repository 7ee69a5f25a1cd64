#include "comp/media/structure.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <iterator>
#include <string>

namespace pw {
namespace {

// Numbers out of bytes; what lies beyond the end reads as nothing.
class Reader {
 public:
  Reader(ByteSpan bytes, bool big_endian) : bytes_(bytes), big_(big_endian) {}

  std::optional<uint64_t> number(uint64_t at, int size) const {
    if (at > bytes_.size() || bytes_.size() - at < static_cast<uint64_t>(size)) return {};
    uint64_t v = 0;
    for (int i = 0; i < size; ++i) v = v << 8 | bytes_[at + (big_ ? i : size - 1 - i)];
    return v;
  }
  std::optional<int64_t> signed32(uint64_t at) const {
    const auto v = number(at, 4);
    return v ? std::optional<int64_t>(static_cast<int32_t>(*v)) : std::nullopt;
  }
  // The text that ends with a zero byte at or after `at`.
  std::optional<std::string> text(uint64_t at) const {
    if (at >= bytes_.size()) return {};
    const auto* from = bytes_.data() + at;
    const auto* end = static_cast<const unsigned char*>(std::memchr(from, 0, bytes_.size() - at));
    return end ? std::optional<std::string>(std::string(from, end)) : std::nullopt;
  }

 private:
  ByteSpan bytes_;
  bool big_;
};

// CRC of ISO 3309 (PNG annex D), eight bytes a step.
constexpr auto kCrc = [] {
  std::array<std::array<uint32_t, 256>, 8> t{};
  for (uint32_t n = 0; n < 256; ++n) {
    uint32_t c = n;
    for (int k = 0; k < 8; ++k) c = c & 1 ? 0xedb88320u ^ (c >> 1) : c >> 1;
    t[0][n] = c;
  }
  for (size_t s = 1; s < 8; ++s)
    for (size_t n = 0; n < 256; ++n) t[s][n] = t[s - 1][n] >> 8 ^ t[0][t[s - 1][n] & 255];
  return t;
}();

uint32_t crc(ByteSpan b) {
  uint32_t c = 0xffffffffu;
  for (; b.size() >= 8; b = b.subspan(8)) {
    c ^= static_cast<uint32_t>(b[0]) | b[1] << 8 | b[2] << 16 | static_cast<uint32_t>(b[3]) << 24;
    c = kCrc[7][c & 255] ^ kCrc[6][c >> 8 & 255] ^ kCrc[5][c >> 16 & 255] ^ kCrc[4][c >> 24] ^ kCrc[3][b[4]] ^
        kCrc[2][b[5]] ^ kCrc[1][b[6]] ^ kCrc[0][b[7]];
  }
  for (unsigned char byte : b) c = c >> 8 ^ kCrc[0][(c ^ byte) & 255];
  return ~c;
}

std::optional<Problem> png_problem(ByteSpan b) {
  const Reader r(b, true);
  for (uint64_t at = 8;;) {
    const auto length = r.number(at, 4), sum = length ? r.number(at + 8 + *length, 4) : std::nullopt;
    if (!sum) return cut_off();
    if (*sum != crc(b.subspan(at + 4, 4 + *length))) return damaged();
    const auto type = *r.number(at + 4, 4);
    if (at == 8) {
      if (type != 0x49484452 || *length != 13) return damaged();  // IHDR
      if (auto p =
              size_problem(static_cast<int64_t>(*r.number(at + 8, 4)), static_cast<int64_t>(*r.number(at + 12, 4))))
        return p;
    }
    if (type == 0x49454e44) return {};  // IEND
    at += 12 + *length;
  }
}

std::optional<Problem> jpeg_problem(ByteSpan b) {
  const Reader r(b, true);
  for (uint64_t at = 2; at < b.size();) {
    // Between segments, and inside coded data, everything up to the next marker is passed over; FF00 is a plain FF in
    // coded data and RSTn, FFD0 to FFD7, go on with it.
    const auto* ff = static_cast<const unsigned char*>(std::memchr(b.data() + at, 0xff, b.size() - at));
    if (!ff) return cut_off();
    at = static_cast<uint64_t>(ff - b.data()) + 1;
    if (at >= b.size()) return cut_off();
    const unsigned char marker = b[at];
    if (marker == 0xff) continue;
    ++at;
    if (marker == 0 || marker == 1 || (marker >= 0xd0 && marker <= 0xd8)) continue;
    if (marker == 0xd9) return {};
    const auto length = r.number(at, 2);
    if (!length) return cut_off();
    if (*length < 2) return damaged();
    const bool is_frame = marker >= 0xc0 && marker <= 0xcf && marker != 0xc4 && marker != 0xc8 && marker != 0xcc;
    if (is_frame) {
      const auto height = r.number(at + 3, 2), width = r.number(at + 5, 2);
      if (!width) return cut_off();
      if (auto p = size_problem(static_cast<int64_t>(*width), static_cast<int64_t>(*height))) return p;
    }
    at += *length;
  }
  return cut_off();
}

std::optional<Problem> exr_window_problem(const Reader& r, uint64_t at) {
  const int64_t x0 = *r.signed32(at), y0 = *r.signed32(at + 4), x1 = *r.signed32(at + 8), y1 = *r.signed32(at + 12);
  if (auto p = size_problem(x1 - x0 + 1, y1 - y0 + 1)) return p;
  if (std::max({std::abs(x0), std::abs(y0), std::abs(x1), std::abs(y1)}) > kFarthest)
    return Problem{.what = fmt::format("its pixels lie at {}, {}, far outside any picture", x0, y0),
                   .remedy = "render it again"};
  return {};
}

// Rows in a chunk of a picture that is stored in rows, by the number of its compression; 0: not known here.
int64_t exr_chunk_rows(uint64_t compression) {
  constexpr int64_t rows[] = {1, 1, 1, 16, 32, 16, 32, 32, 32, 256};  // none rle zips zip piz pxr24 b44 b44a dwaa dwab
  return compression < std::size(rows) ? rows[compression] : 0;
}

// One header: attributes up to an empty name. Moves `at` behind it. `chunks`: how many there are when it is known.
std::optional<Problem> exr_header_problem(const Reader& r, uint64_t& at, uint64_t file_size, int64_t& known_chunks) {
  int64_t width = 0, height = 0, tile_width = 0, tile_height = 0, rows = 0;
  for (;;) {
    const auto name = r.text(at);
    if (!name) return cut_off();
    at += name->size() + 1;
    if (name->empty()) break;
    const auto type = r.text(at);
    if (!type) return cut_off();
    at += type->size() + 1;
    const auto size = r.signed32(at);
    if (!size) return cut_off();
    at += 4;
    if (*size < 0) return damaged();
    if (at + static_cast<uint64_t>(*size) > file_size) return cut_off();
    if (*name == "dataWindow" || *name == "displayWindow") {
      if (*type != "box2i" || *size != 16) return damaged();
      if (auto p = exr_window_problem(r, at)) return p;
      if (*name == "dataWindow") {
        width = *r.signed32(at + 8) - *r.signed32(at) + 1;
        height = *r.signed32(at + 12) - *r.signed32(at + 4) + 1;
      }
    } else if (*name == "compression") {
      if (*size != 1) return damaged();
      rows = exr_chunk_rows(*r.number(at, 1));
    } else if (*name == "tiles") {
      if (*size < 9) return damaged();
      tile_width = static_cast<int64_t>(*r.number(at, 4));
      tile_height = static_cast<int64_t>(*r.number(at + 4, 4));
      if (auto p = size_problem(tile_width, tile_height)) return damaged();
    }
    at += static_cast<uint64_t>(*size);
  }
  if (width == 0) return damaged();
  // A table of 8 bytes a chunk follows the headers; a chunk is a tile, or at most 256 rows.
  const int64_t chunks = tile_width > 0
                             ? ((width + tile_width - 1) / tile_width) * ((height + tile_height - 1) / tile_height)
                             : (height + 255) / 256;
  if (at + 8 * static_cast<uint64_t>(chunks) > file_size) return cut_off();
  known_chunks = tile_width == 0 && rows > 0 ? (height + rows - 1) / rows : 0;
  return {};
}

// The chunks of a single picture stored in rows: each begins with its first row and its size. A writer that was stopped
// leaves zeros in the table.
std::optional<Problem> exr_chunk_problem(const Reader& r, uint64_t table, int64_t chunks, uint64_t file_size) {
  for (int64_t i = 0; i < chunks; ++i) {
    const auto start = r.number(table + 8 * static_cast<uint64_t>(i), 8);
    const auto size = start && *start > 0 && *start < file_size ? r.number(*start + 4, 4) : std::nullopt;
    if (!size || *start + 8 + *size > file_size) return cut_off();
  }
  return {};
}

std::optional<Problem> exr_problem(ByteSpan b) {
  const Reader r(b, false);
  const auto version = r.number(4, 4);
  if (!version) return cut_off();
  const bool several_parts = *version & 0x1000, deep = *version & 0x800;
  uint64_t at = 8;
  int64_t chunks = 0;
  do {
    if (auto p = exr_header_problem(r, at, b.size(), chunks)) return p;
    if (several_parts && at >= b.size()) return cut_off();
  } while (several_parts && b[at] != 0);
  return several_parts || deep ? std::nullopt : exr_chunk_problem(r, at, chunks, b.size());
}

// Decoders of DPX believe their headers; only what the standard's common image element allows is let through.
std::optional<Problem> dpx_problem(ByteSpan b) {
  const bool big_endian = b[0] == 'S';
  const Reader r(b, big_endian);
  if (!r.number(2044, 4)) return cut_off();
  const int64_t width = static_cast<int64_t>(*r.number(772, 4)), height = static_cast<int64_t>(*r.number(776, 4));
  if (auto p = size_problem(width, height)) return p;
  const auto unsupported = [](std::string what) {
    return Problem{.what = std::move(what), .remedy = "convert it to EXR or PNG"};
  };
  const auto user_bytes = *r.number(32, 4);
  if (user_bytes != 0xffffffffu && 2048 + user_bytes > b.size()) return cut_off();
  const auto elements = *r.number(770, 2), descriptor = *r.number(800, 1), bits = *r.number(803, 1);
  const auto packing = *r.number(804, 2), coding = *r.number(806, 2);
  if (elements != 1) return unsupported(fmt::format("the DPX file has {} image elements; one is handled", elements));
  int64_t components = 0;
  if (descriptor >= 1 && descriptor <= 6) components = 1;
  if (descriptor == 50) components = 3;
  if (descriptor == 51) components = 4;
  if (components == 0)
    return unsupported(
        fmt::format("the DPX file's components (descriptor {}) are not RGB, RGBA or one channel", descriptor));
  if (bits != 8 && bits != 10 && bits != 12 && bits != 16)
    return unsupported(fmt::format("the DPX file has {} bits a component; 8, 10, 12 and 16 are handled", bits));
  if (coding != 0) return unsupported("the DPX file is run-length coded");
  if (packing > 2) return damaged();
  if (bits == 10 && components != 3)
    return unsupported(fmt::format("10-bit DPX is handled with 3 components, not {}", components));
  const int64_t row = width * components;
  int64_t row_bytes = (row * static_cast<int64_t>(bits) + 31) / 32 * 4;
  if (bits == 8 || bits == 16) row_bytes = row * static_cast<int64_t>(bits) / 8;  // Not every writer pads these.
  if (packing != 0 && bits == 10) row_bytes = (row + 2) / 3 * 4;
  if (packing != 0 && bits == 12) row_bytes = (row * 2 + 3) / 4 * 4;
  const auto padding = [](uint64_t v) { return v == 0xffffffffu ? uint64_t{0} : v; };
  uint64_t start = padding(*r.number(808, 4));
  if (start == 0) start = *r.number(4, 4);
  if (start < 1664) return damaged();
  // Rows are padded to whole 32-bit words, except by some writers in the last row.
  const uint64_t need =
      start + static_cast<uint64_t>(height) * (static_cast<uint64_t>(row_bytes) + padding(*r.number(812, 4)));
  if (need > b.size() + 4 + padding(*r.number(812, 4))) return cut_off();
  return {};
}

std::optional<Problem> tiff_problem(ByteSpan b) {
  const Reader r(b, b[0] == 'M');
  const bool big_tiff = b[2] == '+' || b[3] == '+';
  const auto directory = big_tiff ? r.number(8, 8) : r.number(4, 4);
  const auto count = directory ? r.number(*directory, big_tiff ? 8 : 2) : std::nullopt;
  if (!count) return cut_off();
  int64_t width = 0, height = 0;
  uint64_t at = *directory + (big_tiff ? 8 : 2);
  for (uint64_t i = 0; i < *count; ++i, at += big_tiff ? 20 : 12) {
    const auto tag = r.number(at, 2), type = r.number(at + 2, 2);
    if (!type) return cut_off();
    if (*tag != 256 && *tag != 257) continue;
    const auto value = r.number(at + (big_tiff ? 12 : 8), *type == 3 ? 2 : *type == 16 ? 8 : 4);
    if (!value) return cut_off();
    (*tag == 256 ? width : height) = static_cast<int64_t>(std::min<uint64_t>(*value, uint64_t{1} << 62));
  }
  return size_problem(width, height);
}

}  // namespace

Problem cut_off() { return {.what = "the file is cut off", .remedy = "copy or render it again"}; }
Problem damaged() { return {.what = "the file is damaged", .remedy = "copy or render it again"}; }

std::optional<Problem> size_problem(int64_t width, int64_t height) {
  if (width < 1 || height < 1)
    return Problem{.what = fmt::format("the picture has no pixels ({} x {})", width, height),
                   .remedy = "render it again"};
  if (width > kMostSide || height > kMostSide || width * height > kMostPixels)
    return Problem{.what = fmt::format("the picture is {} x {} pixels", width, height),
                   .remedy = fmt::format("sides up to {} and {} million pixels altogether are handled", kMostSide,
                                         kMostPixels / 1000000)};
  return {};
}

std::optional<Problem> structure_problem(FileType t, ByteSpan bytes) {
  switch (t) {
    case FileType::exr:
      return exr_problem(bytes);
    case FileType::png:
      return png_problem(bytes);
    case FileType::tiff:
      return tiff_problem(bytes);
    case FileType::dpx:
      return dpx_problem(bytes);
    case FileType::jpeg:
      return jpeg_problem(bytes);
    default:
      return {};
  }
}

}  // namespace pw
