#include "comp/colour/light_rows.h"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <system_error>
#include <utility>

namespace pw {
namespace {

constexpr int kParts = 3;  // Value, weight, trust.

// False with errno when not all of it went. `at` advances.
template <class Move, class Byte>
bool all(Move move, int file, Byte* bytes, size_t size, int64_t at) {
  while (size > 0) {
    const ssize_t n = move(file, bytes, size, at);
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) {
      if (n == 0) errno = EIO;
      return false;
    }
    bytes += n, size -= static_cast<size_t>(n), at += n;
  }
  return true;
}

bool write(int file, std::span<const float> values, int64_t at) {
  return all(::pwrite, file, reinterpret_cast<const char*>(values.data()), values.size_bytes(), at);
}

std::string folder() {
  std::error_code error;
  const auto path = std::filesystem::temp_directory_path(error);
  return error ? "/tmp" : path.string();
}

Problem problem(int error) {
  return {.what = fmt::format("no temporary file can be written in {} ({})", folder(), std::strerror(error)),
          .remedy = "free some room there, or set TMPDIR to another folder"};
}

[[noreturn]] void failed() { throw std::system_error(errno, std::generic_category(), "the temporary file of light"); }

}  // namespace

Result<LightRows> LightRows::create(size_t columns) {
  std::string name = (std::filesystem::path(folder()) / "platewright.XXXXXX").string();
  const int file = ::mkstemp(name.data());
  if (file < 0) return fail(problem(errno));
  ::unlink(name.c_str());
  return LightRows(file, columns);
}

LightRows::LightRows(LightRows&& other) noexcept
    : file_(std::exchange(other.file_, -1)), columns_(other.columns_), shows_(std::move(other.shows_)) {}

LightRows::~LightRows() {
  if (file_ >= 0) ::close(file_);
}

int64_t LightRows::place(size_t frame, int part) const {
  return static_cast<int64_t>((frame * kParts + size_t(part)) * columns_ * sizeof(float));
}

Result<void> LightRows::add(std::span<const float> value, std::span<const float> weight) {
  const size_t f = count();
  if (!write(file_, value, place(f, 0)) || !write(file_, weight, place(f, 1)) || !write(file_, weight, place(f, 2)))
    return fail(problem(errno));
  shows_.push_back(std::ranges::any_of(weight, [](float w) { return w > 0; }));
  return {};
}

void LightRows::read(size_t frame, LightRow& row) const {
  int part = 0;
  for (std::vector<float>* to : {&row.value, &row.weight, &row.trust}) {
    to->resize(columns_);
    char* bytes = reinterpret_cast<char*>(to->data());
    if (!all(::pread, file_, bytes, columns_ * sizeof(float), place(frame, part++))) failed();
  }
}

void LightRows::set_trust(size_t frame, std::span<const float> trust) {
  if (!write(file_, trust, place(frame, 2))) failed();
}

}  // namespace pw
