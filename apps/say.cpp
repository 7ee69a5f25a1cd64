#include "apps/say.h"

#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>
#include <nlohmann/json.hpp>

namespace pw {

void say(const Problems& problems) { fmt::print(stderr, "{}", to_string(problems)); }

std::string json_text(const Problems& problems) {
  constexpr const char* severities[] = {"note", "warning", "error"};
  nlohmann::ordered_json all = nlohmann::ordered_json::array();
  for (const Problem& p : problems) {
    nlohmann::ordered_json j = {
        {"severity", severities[static_cast<int>(p.severity)]}, {"what", p.what}, {"remedy", p.remedy}};
    if (!p.file.empty()) j["file"] = p.file;
    if (p.line > 0) j["line"] = p.line, j["column"] = p.column;
    if (!p.node.empty()) j["node"] = p.node;
    if (p.frame) j["frame"] = *p.frame;
    all.push_back(j);
  }
  // A file's name may be any bytes.
  return all.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace);
}

Progress::Progress(std::string what, bool silent)
    : what_(std::move(what)),
      silent_(silent),
      terminal_(isatty(2)),
      start_(std::chrono::steady_clock::now()),
      last_(start_) {}

Progress::~Progress() {
  if (open_) fmt::print(stderr, "\n");
}

void Progress::at(int done, int total) {
  if (silent_) return;
  const auto now = std::chrono::steady_clock::now();
  const bool end = done >= total;
  const double since = std::chrono::duration<double>(now - last_).count();
  if (!end && since < (terminal_ ? 0.1 : 10.0)) return;
  if (!terminal_ && end && std::chrono::duration<double>(now - start_).count() < 10) return;
  last_ = now;
  const double seconds = std::max(1e-3, std::chrono::duration<double>(now - start_).count());
  const double rate = done / seconds, left = rate > 0 ? (total - done) / rate : 0;
  const std::string line =
      end ? fmt::format("{}: {} of {} in {:.1f} s, {:.1f} a second", what_, done, total, seconds, rate)
          : fmt::format("{}: {} of {}, {:.1f} a second, {:.0f} s left", what_, done, total, rate, left);
  if (terminal_) {
    fmt::print(stderr, "\r\033[K{}", line);
    open_ = true;
    std::fflush(stderr);
  } else {
    fmt::print(stderr, "{}\n", line);
  }
}

namespace {

// "4G", "800M" -> bytes; 0 when it is no size.
int64_t bytes_of(const std::string& text) {
  char* end = nullptr;
  const double n = std::strtod(text.c_str(), &end);
  double unit = 1;
  if (*end == 'K' || *end == 'k')
    unit = 1 << 10, ++end;
  else if (*end == 'M' || *end == 'm')
    unit = 1 << 20, ++end;
  else if (*end == 'G' || *end == 'g')
    unit = 1 << 30, ++end;
  if (*end == 'B' || *end == 'b') ++end;
  return *end == 0 && n > 0 && n * unit < 9e18 ? static_cast<int64_t>(n * unit) : 0;
}

}  // namespace

std::optional<int64_t> memory_limit(const std::string& text) {
  if (const int64_t bytes = bytes_of(text); bytes >= 1 << 20) return bytes;
  say({{.what = fmt::format("\"{}\" is no amount of memory", text),
        .remedy = "write 800M or 4G; at least 1M",
        .file = "--memory"}});
  return std::nullopt;
}

}  // namespace pw
