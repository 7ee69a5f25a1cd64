// A shot file as text with positions: every node, every entry and every value knows its line and column.
#pragma once
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "base/problem.h"

namespace pw {

struct Position {
  int line = 0, column = 0;
};

struct Raw;
using RawList = std::vector<Raw>;
struct RawEntry;
using RawTable = std::vector<RawEntry>;  // In the order of the file.

// A TOML value (toml.io, v1.0.0).
struct Raw {
  std::variant<bool, int64_t, double, std::string, RawList, RawTable> value;
  Position at;
};

struct RawEntry {
  std::string key;
  Position at;
  Raw value;
};

struct ShotText {
  std::string file;  // As the person named it.
  RawTable entries;  // Top level.
};

// Reads TOML. `file` is only named in problems. Never throws; hostile text gives problems.
Result<ShotText> parse_shot(std::string_view text, const std::string& file);

// Reads a shot file from disk; refuses files over 16 MB.
Result<ShotText> read_shot(const std::string& file);

// "--set NODE.PARAMETER=VALUE": the text with that entry replaced or added. VALUE is TOML; a bare word is taken as
// text.
Result<ShotText> with_setting(ShotText text, std::string_view setting);

}  // namespace pw
