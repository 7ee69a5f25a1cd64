// An empty folder for the test that runs.
#pragma once
#include <gtest/gtest.h>

#include <filesystem>
#include <string>

namespace pw {

// Below the build's folder, in `room`, named after suite and test; ends with a slash. What an earlier run left there is
// gone.
inline std::string test_folder(const std::string& room) {
  const auto* info = testing::UnitTest::GetInstance()->current_test_info();
  std::string name = std::string(info->test_suite_name()) + "." + info->name();
  for (char& c : name)
    if (c == '/') c = '_';
  const std::filesystem::path p = std::filesystem::path(PW_BINARY_DIR) / room / name;
  std::filesystem::remove_all(p);
  std::filesystem::create_directories(p);
  return p.string() + "/";
}

}  // namespace pw
