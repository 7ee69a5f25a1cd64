// What must not reach the TOML library.
#pragma once
#include <optional>
#include <string>
#include <string_view>

namespace pw {

struct TomlHazard {
  std::string what, remedy;
  int line = 1, column = 1;
};

// The first place outside of quotes and comments where toml++ 3.3 is not safe: a key with more than 16 dots, which it
// follows as deep as it goes, until the stack is full; a letter beyond ASCII, which TOML has only in quotes and
// which it does not always tell.
std::optional<TomlHazard> toml_hazard(std::string_view text);

}  // namespace pw
