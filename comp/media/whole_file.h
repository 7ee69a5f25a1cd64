// Whole files in and out. A file that is written appears whole or not at all.
#pragma once
#include <cstddef>
#include <memory>
#include <span>
#include <string>

#include "base/problem.h"

namespace pw {

using ByteSpan = std::span<const unsigned char>;

// The content of a file, in a buffer of the pool.
class FileBytes {
 public:
  ByteSpan bytes() const { return {reinterpret_cast<const unsigned char*>(data_.get()), size_}; }

 private:
  friend Result<FileBytes> read_whole_file(const std::string& path);
  std::shared_ptr<float[]> data_;
  size_t size_ = 0;
};

// Problems: not there, a folder, not a regular file, not readable, empty, above 4 GiB.
Result<FileBytes> read_whole_file(const std::string& path);

// Writes a temporary file beside `path`, syncs it, and gives it its name; on failure nothing is left behind and what
// was there before stays. Problems: folder missing or not writable, no room, path is a folder.
Result<void> write_whole_file(const std::string& path, ByteSpan bytes);

// Removes what killed runs left half-written in the folder: temporary files of programs that no longer run on this
// machine, and those, of any machine, that nobody has written to for a week. Returns how many.
int remove_leftovers(const std::string& folder);

// The same in parts, for files too large to be held: the name of the temporary file beside `path`, and giving the file
// that was written there its name once it is on the disk. On failure the temporary file is removed.
std::string temporary_name(const std::string& path);
Result<void> put_in_place(const std::string& temporary, const std::string& path);

// What the system's error (errno) means for someone who writes `path`.
Problem write_problem(const std::string& path, int error);

// The problems write_whole_file would meet that can be seen without writing.
Result<void> check_writable(const std::string& path);

}  // namespace pw
