#include "apps/log.h"

#include <fcntl.h>
#include <fmt/chrono.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <ctime>

namespace pw {

Log::~Log() {
  if (file_ >= 0) ::close(file_);
}

Result<void> Log::open(const std::string& path) {
  file_ = ::open(path.c_str(), O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0666);
  if (file_ < 0)
    return fail(Problem{.what = fmt::format("the log cannot be written ({})", std::strerror(errno)),
                        .remedy = "name a file in a folder that is there and open",
                        .file = "--log " + path});
  char first = '{';
  if (::pread(file_, &first, 1, 0) < 0 || first != '{') {
    ::close(file_);
    file_ = -1;
    return fail(Problem{.what = "this file is no log", .remedy = "name a new file", .file = "--log " + path});
  }
  return {};
}

void Log::add(const std::string& event, const nlohmann::ordered_json& more) const {
  if (file_ < 0) return;
  nlohmann::ordered_json line = {{"time", fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", fmt::gmtime(std::time(nullptr)))},
                                 {"process", ::getpid()},
                                 {"event", event}};
  line.update(more);
  const std::string text = line.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
  [[maybe_unused]] const ssize_t written =
      ::write(file_, text.data(), text.size());  // A full disk must not end the run.
}

}  // namespace pw
