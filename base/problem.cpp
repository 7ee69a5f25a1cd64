#include "base/problem.h"

#include <fmt/format.h>

#include <algorithm>

namespace pw {

std::string to_string(const Problem& p) {
  std::string s = p.file;
  if (p.line > 0) s += fmt::format(":{}", p.line);
  if (p.line > 0 && p.column > 0) s += fmt::format(":{}", p.column);
  if (!s.empty()) s += ": ";
  if (p.severity == Severity::warning) s += "warning: ";
  if (p.severity == Severity::note) s += "note: ";
  if (p.frame) s += fmt::format("frame {}: ", *p.frame);
  s += p.what;
  if (!p.remedy.empty()) s += "; " + p.remedy;
  return s;
}

std::string to_string(const Problems& problems) {
  std::string s;
  for (const Problem& p : problems) s += to_string(p) + "\n";
  return s;
}

bool any_error(const Problems& problems) {
  return std::any_of(problems.begin(), problems.end(), [](const Problem& p) { return p.severity == Severity::error; });
}

}  // namespace pw
