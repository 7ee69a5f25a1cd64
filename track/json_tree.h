// JSON (RFC 8259) with the place of every value, so that a problem can point at it. Reading is iterative and refuses
// deep nesting, so that no file can exhaust the stack.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "base/problem.h"

namespace pw {

struct JsonEntry;

struct Json {
  enum class Kind { null, boolean, number, text, list, table };
  Kind kind = Kind::null;
  bool boolean = false;
  double number = 0;
  std::string text;
  std::vector<Json> list;
  std::vector<JsonEntry> table;
  int line = 1, column = 1;  // Where the value ends (a list or table: where it begins), 1-based.

  const Json* find(std::string_view key) const;  // Null when it is not there or this is no table.
};
struct JsonEntry {
  std::string first;
  Json second;
};
std::string_view name(Json::Kind k);

// `file` is what problems call it. At most 12 levels deep and 64 MB long.
Result<Json> parse_json(std::string_view text, const std::string& file);

}  // namespace pw
