#include "comp/media/identity.h"

#include <fmt/format.h>
#include <sys/stat.h>

namespace pw {

std::string file_identity(const std::string& path) {
  struct stat s;
  if (stat(path.c_str(), &s) != 0) return path + " missing";
  return fmt::format("{} {} {}.{:09}", path, s.st_size, s.st_mtim.tv_sec, s.st_mtim.tv_nsec);
}

}  // namespace pw
