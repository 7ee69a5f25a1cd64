#include "comp/media/identity.h"

#include <fmt/format.h>
#include <sys/stat.h>

#include <filesystem>

namespace pw {

std::string file_identity(const std::string& path) {
  const std::string name = std::filesystem::path(path).filename().string();
  struct stat s;
  if (stat(path.c_str(), &s) != 0) return name + " missing";
  return fmt::format("{} {} {}.{:09}", name, s.st_size, s.st_mtim.tv_sec, s.st_mtim.tv_nsec);
}

}  // namespace pw
