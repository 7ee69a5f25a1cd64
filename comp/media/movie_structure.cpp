#include "comp/media/movie_structure.h"

#include <filesystem>
#include <fstream>
#include <string_view>

#include "comp/media/structure.h"

namespace pw {
namespace {

class Bytes {
 public:
  Bytes(int64_t size, const ReadAt& read) : size_(size), read_(read) {}
  int64_t size() const { return size_; }

  // A whole number of `count` bytes, 1 to 8; nothing beyond the end.
  std::optional<uint64_t> big(int64_t at, size_t count) const {
    unsigned char b[8];
    if (at < 0 || read_(at, b, count) != count) return {};
    uint64_t v = 0;
    for (size_t i = 0; i < count; ++i) v = v << 8 | b[i];
    return v;
  }
  std::optional<uint64_t> little(int64_t at) const {
    unsigned char b[4];
    if (at < 0 || read_(at, b, 4) != 4) return {};
    return b[0] | b[1] << 8 | b[2] << 16 | uint64_t{b[3]} << 24;
  }
  // True when `count` bytes from `at` on are there.
  bool holds(int64_t at, uint64_t count) const { return at <= size_ && count <= static_cast<uint64_t>(size_ - at); }

 private:
  int64_t size_;
  const ReadAt& read_;
};

constexpr uint64_t four(std::string_view s) {
  uint64_t v = 0;
  for (char c : s) v = v << 8 | static_cast<unsigned char>(c);
  return v;
}

constexpr int kMostBoxes = 1000000;  // At the top level; a live recording has two a second.

std::optional<Problem> boxes(const Bytes& file) {
  bool index = false;
  int64_t at = 0;
  for (int i = 0; i < kMostBoxes && at < file.size(); ++i) {
    const auto small = file.big(at, 4), type = file.big(at + 4, 4);
    if (!small || !type) break;  // A few bytes behind the last box harm nobody.
    index |= *type == four("moov");
    uint64_t size = *small;
    if (size == 1) {
      const auto large = file.big(at + 8, 8);
      if (!large) return cut_off();
      size = *large;
    }
    if (size == 0) break;  // To the end of the file.
    if (size < 8) return index ? std::nullopt : std::optional(damaged());
    if (!file.holds(at, size)) return cut_off();
    at += static_cast<int64_t>(size);
  }
  return index ? std::nullopt : std::optional(cut_off());
}

// An EBML number: its length is told by the first byte's leading zeros. All ones: not known.
struct Vint {
  uint64_t value;
  int length;
  bool known;
};
std::optional<Vint> vint(const Bytes& file, int64_t at) {
  const auto first = file.big(at, 1);
  if (!first || *first == 0) return {};
  int length = 1;
  while (!(*first & (0x80 >> (length - 1)))) ++length;
  const auto all = file.big(at, static_cast<size_t>(length));
  if (!all) return {};
  const uint64_t mask = (uint64_t{1} << (7 * length)) - 1;
  return Vint{*all & mask, length, (*all & mask) != mask};
}

std::optional<Problem> ebml(const Bytes& file) {
  const auto head = vint(file, 4);
  if (!head || !head->known || !file.holds(4 + head->length, head->value)) return cut_off();
  const int64_t segment = 4 + head->length + static_cast<int64_t>(head->value);
  const auto id = file.big(segment, 4);
  if (!id) return cut_off();
  if (*id != 0x18538067) return std::nullopt;
  const auto size = vint(file, segment + 4);
  if (!size) return cut_off();
  if (!size->known) return std::nullopt;  // A live recording.
  return file.holds(segment + 4 + size->length, size->value) ? std::nullopt : std::optional(cut_off());
}

std::optional<Problem> riff(const Bytes& file) {
  int64_t at = 0;
  for (int i = 0; i < kMostBoxes && at < file.size(); ++i) {
    const auto mark = file.big(at, 4), size = file.little(at + 4);
    if (!mark || *mark != four("RIFF")) break;  // Something else behind the movie.
    if (!size || *size < 4 || !file.holds(at + 8, *size)) return cut_off();
    at += 8 + static_cast<int64_t>(*size + (*size & 1));
  }
  return std::nullopt;
}

}  // namespace

std::optional<Problem> movie_structure_problem(int64_t size, const ReadAt& read) {
  const Bytes file(size, read);
  const auto first = file.big(0, 4), second = file.big(4, 4);
  if (!first || !second) return cut_off();
  if (*first == 0x1a45dfa3) return ebml(file);
  if (*first == four("RIFF")) return riff(file);
  for (std::string_view type : {"ftyp", "moov", "mdat", "wide", "free", "skip"})
    if (*second == four(type)) return boxes(file);
  return std::nullopt;
}

std::optional<Problem> movie_file_problem(const std::string& path) {
  std::ifstream in(path, std::ios::binary | std::ios::ate);
  const auto named = [&](std::optional<Problem> p) {
    if (p) p->file = path;
    return p;
  };
  const int64_t size = in ? static_cast<int64_t>(in.tellg()) : -1;
  std::error_code error;
  if (size < 0 && !std::filesystem::exists(path, error))
    return named(Problem{.what = "there is no such file", .remedy = "check the name"});
  if (size < 0) return named(Problem{.what = "the file may not be read", .remedy = "change its permissions"});
  if (size == 0) return named(Problem{.what = "the file is empty", .remedy = "copy or render it again"});
  return named(movie_structure_problem(size, [&](int64_t offset, unsigned char* to, size_t count) {
    in.clear();
    in.seekg(offset);
    in.read(reinterpret_cast<char*>(to), static_cast<std::streamsize>(count));
    return static_cast<size_t>(std::max<std::streamsize>(in.gcount(), 0));
  }));
}

}  // namespace pw
