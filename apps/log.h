// A log that a script can read: one JSON object a line, each written at once, so that several runs may share a file.
//   {"time": "2031-05-04T12:00:00Z", "process": 4711, "event": "begin", "shot": "quay.toml", "frames": 48, ...}
//   {... "event": "measured", "node": "wall", "reused": false, "seconds": 3.2}
//   {... "event": "file", "node": "out", "frame": 12, "file": "out/quay.0012.png", "outcome": "written", "seconds":
//   0.4}
//   {... "event": "end", "written": 46, "kept": 2, "failed": 0, "stopped": false, "seconds": 12.1}
// A file that failed, and a run that could not begin, carry "problems".
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
  // Adds to the file. Problem: it cannot be opened.
  Result<void> open(const std::string& path);
  // `more`: an object; its entries follow time, process and event.
  void add(const std::string& event, const nlohmann::ordered_json& more) const;

 private:
  int file_ = -1;
};

}  // namespace pw
