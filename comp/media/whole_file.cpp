#include "comp/media/whole_file.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstdlib>
#include <cstring>
#include <filesystem>

#include "base/pool.h"

namespace pw {
namespace {

constexpr int64_t kMostBytes = int64_t{4} << 30;

class Descriptor {
 public:
  explicit Descriptor(int fd) : fd_(fd) {}
  ~Descriptor() { close(); }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  int get() const { return fd_; }
  int close() {
    const int result = fd_ >= 0 ? ::close(fd_) : 0;
    fd_ = -1;
    return result;
  }

 private:
  int fd_;
};

std::string folder_of(const std::string& path) {
  const std::string folder = std::filesystem::path(path).parent_path().string();
  return folder.empty() ? "." : folder;
}

Problem about(const std::string& path, std::string what, std::string remedy) {
  return {.what = std::move(what), .remedy = std::move(remedy), .file = path};
}

Problem cannot_open(const std::string& path, int error) {
  if (error == ENOENT || error == ENOTDIR) {
    const std::string folder = folder_of(path);
    if (!std::filesystem::is_directory(folder))
      return about(path, fmt::format("there is no folder {}", folder), "check the path");
    return about(path, "there is no such file", "check the name");
  }
  if (error == EACCES || error == EPERM) return about(path, "the file may not be read", "change its permissions");
  return about(path, fmt::format("the file cannot be opened ({})", std::strerror(error)), "");
}

// Temporary files are named .FILE.PROCESS.MACHINE.pw.part.
constexpr std::string_view kPart = ".pw.part";
constexpr std::chrono::hours kForgotten{7 * 24};

std::string machine() {
  char name[256] = "";
  return ::gethostname(name, sizeof name - 1) == 0 ? name : "";
}

// Whether a process of this machine is at work on the temporary file of that name.
bool is_at_work(std::string name) {
  const std::string ending = fmt::format(".{}{}", machine(), kPart);
  if (!name.ends_with(ending)) return true;  // Of another machine: nobody knows.
  name.resize(name.size() - ending.size());
  const std::string number = name.substr(name.rfind('.') + 1);
  char* end = nullptr;
  const long process = std::strtol(number.c_str(), &end, 10);
  return number.empty() || *end != 0 || process <= 0 || ::kill(static_cast<pid_t>(process), 0) == 0 || errno == EPERM;
}

bool write_all(int fd, ByteSpan bytes) {
  while (!bytes.empty()) {
    const ssize_t n = ::write(fd, bytes.data(), bytes.size());
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) return false;
    bytes = bytes.subspan(static_cast<size_t>(n));
  }
  return true;
}

}  // namespace

Problem write_problem(const std::string& path, int error) {
  const std::string folder = folder_of(path);
  switch (error) {
    case ENOENT:
    case ENOTDIR:
      return about(path, fmt::format("there is no folder {}", folder), "create it or choose another");
    case EACCES:
    case EPERM:
      return about(path, fmt::format("the folder {} may not be written to", folder),
                   "change its permissions or choose another");
    case EROFS:
      return about(path, fmt::format("the folder {} is on a read-only file system", folder), "choose another");
    case ENOSPC:
    case EDQUOT:
      return about(path, "there is no room left to write the file", "free some disk space and run again");
    case EFBIG:
      return about(path, "the file is larger than the system lets a file grow", "raise the limit (ulimit -f)");
    case EISDIR:
      return about(path, "this is a folder", "choose another name");
  }
  return about(path, fmt::format("the file cannot be written ({})", std::strerror(error)), "");
}

Result<FileBytes> read_whole_file(const std::string& path) {
  struct stat info {};
  if (::stat(path.c_str(), &info) != 0) return fail(cannot_open(path, errno));
  if (S_ISDIR(info.st_mode)) return fail(about(path, "this is a folder", "name a file in it"));
  if (!S_ISREG(info.st_mode)) return fail(about(path, "this is not a regular file", "name a picture file"));
  if (info.st_size == 0) return fail(about(path, "the file is empty", "copy or render it again"));
  if (info.st_size > kMostBytes)
    return fail(about(path, fmt::format("the file has {} bytes", info.st_size), "files up to 4 GiB are read"));
  const Descriptor fd(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
  if (fd.get() < 0) return fail(cannot_open(path, errno));

  FileBytes file;
  file.size_ = static_cast<size_t>(info.st_size);
  file.data_ = take_buffer((file.size_ + sizeof(float) - 1) / sizeof(float));
  char* to = reinterpret_cast<char*>(file.data_.get());
  for (size_t done = 0; done < file.size_;) {
    const ssize_t n = ::read(fd.get(), to + done, file.size_ - done);
    if (n < 0 && errno == EINTR) continue;
    if (n < 0)
      return fail(about(path, fmt::format("the file cannot be read ({})", std::strerror(errno)), "copy it again"));
    if (n == 0) return fail(about(path, "the file became shorter while it was read", "wait until it is whole"));
    done += static_cast<size_t>(n);
  }
  return file;
}

int remove_leftovers(const std::string& folder) {
  namespace fs = std::filesystem;
  int removed = 0;
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(folder.empty() ? "." : folder, error)) {
    const std::string name = entry.path().filename().string();
    if (!name.starts_with('.') || !name.ends_with(kPart)) continue;
    std::error_code gone;
    const auto last = fs::last_write_time(entry.path(), gone);
    const bool forgotten = !gone && fs::file_time_type::clock::now() - last > kForgotten;
    if (forgotten || !is_at_work(name)) removed += ::unlink(entry.path().c_str()) == 0;
  }
  return removed;
}

Result<void> check_writable(const std::string& path) {
  if (std::filesystem::is_directory(path)) return fail(write_problem(path, EISDIR));
  const std::string folder = folder_of(path);
  if (!std::filesystem::is_directory(folder)) return fail(write_problem(path, ENOENT));
  if (::access(folder.c_str(), W_OK) != 0) return fail(write_problem(path, errno));
  return {};
}

std::string temporary_name(const std::string& path) {
  const std::string name =
      fmt::format(".{}.{}.{}{}", std::filesystem::path(path).filename().string(), ::getpid(), machine(), kPart);
  return (std::filesystem::path(folder_of(path)) / name).string();
}

Result<void> put_in_place(const std::string& temporary, const std::string& path) {
  Descriptor fd(::open(temporary.c_str(), O_RDONLY | O_CLOEXEC));
  const bool placed =
      fd.get() >= 0 && ::fsync(fd.get()) == 0 && fd.close() == 0 && ::rename(temporary.c_str(), path.c_str()) == 0;
  if (!placed) {
    const int error = errno;
    ::unlink(temporary.c_str());
    return fail(write_problem(path, error));
  }
  // The new name is on the disk when the folder is; a file system that cannot sync folders has done its best.
  const Descriptor directory(::open(folder_of(path).c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (directory.get() >= 0) ::fsync(directory.get());
  return {};
}

Result<void> write_whole_file(const std::string& path, ByteSpan bytes) {
  if (std::filesystem::is_directory(path)) return fail(write_problem(path, EISDIR));
  const std::string temporary = temporary_name(path);
  Descriptor fd(::open(temporary.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666));
  if (fd.get() < 0) return fail(write_problem(path, errno));
  if (!write_all(fd.get(), bytes) || fd.close() != 0) {
    const int error = errno;
    ::unlink(temporary.c_str());
    return fail(write_problem(path, error));
  }
  return put_in_place(temporary, path);
}

}  // namespace pw
