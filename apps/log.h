// A log that a script can read: one JSON object a line, each written at once, so that several runs may share a file.
//   {"time": "2031-05-04T12:00:00Z", "process": 4711, "event": "begin", "shot": "quay.toml"}
//   {... "event": "measured", "node": "wall", "reused": false, "seconds": 3.2}
//   {... "event": "file", "node": "out", "frame": 12, "file": "o/12.png", "outcome": "written", "seconds": 0.4}
//   {... "event": "end", "status": 0, "frames": 48, "written": 46, "kept": 2, "failed": 0, "seconds": 12.1}
// Outcomes are written, kept and failed; a file with problems carries them as "problems". "status" is the exit status.
#pragma once
#include <nlohmann/json.hpp>
#include <string>

#include "base/problem.h"

namespace pw {

class Log {
 public:
  Log() = default;  // Writes nothing.
  ~Log();
  Log(const Log&) = delete;
  Log& operator=(const Log&) = delete;
  // Adds to the file. Problems: it cannot be opened, or holds something else than a log.
  Result<void> open(const std::string& path);
  // `more`: an object; its entries follow time, process and event.
  void add(const std::string& event, const nlohmann::ordered_json& more) const;

 private:
  int file_ = -1;
};

}  // namespace pw
