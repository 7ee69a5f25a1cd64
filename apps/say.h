// What the command prints: problems on standard error, progress where someone looks at a terminal, plain lines
// elsewhere.
#pragma once
#include <chrono>
#include <optional>
#include <string>

#include "base/problem.h"

namespace pw {

void say(const Problems& problems);               // Standard error, one a line.
std::string json_text(const Problems& problems);  // A JSON array.

// "3.1 frames/s, 12 s left" on one line that is written over; on anything but a terminal a line every ten seconds.
class Progress {
 public:
  Progress(std::string what, bool silent);
  ~Progress();
  void at(int done, int total);

 private:
  std::string what_;
  bool silent_, terminal_, open_ = false;
  std::chrono::steady_clock::time_point start_, last_;
};

// What --memory says, in bytes: "4G", "800M". Says the problem when it is no size.
std::optional<int64_t> memory_limit(const std::string& text);

}  // namespace pw
