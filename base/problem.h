// A person's mistake or a broken input, worded once, where it is found: what is wrong and what to do about it.
#pragma once
#include <optional>
#include <string>
#include <tl/expected.hpp>
#include <utility>
#include <vector>

namespace pw {

enum class Severity { note, warning, error };

struct Problem {
  std::string what;    // One sentence without a full stop, naming the thing as the person wrote it.
  std::string remedy;  // What to do; empty when `what` already says it.
  std::string file;    // As the person named it; empty when no file is concerned.
  int line = 0;        // 1-based; 0 = not known.
  int column = 0;      // 1-based; 0 = not known.
  std::string node;    // The node's name in the shot file.
  std::optional<int> frame;
  Severity severity = Severity::error;
};

// "quay.toml:31:10: wall.region has 3 corners; a plane needs 4 or more"; warnings and notes say so after the position.
std::string to_string(const Problem& p);

// Several per run, in the order found.
using Problems = std::vector<Problem>;
std::string to_string(const Problems& problems);  // One a line.
bool any_error(const Problems& problems);

template <class T>
using Result = tl::expected<T, Problems>;

inline tl::unexpected<Problems> fail(Problem p) {
  Problems all;
  all.push_back(std::move(p));
  return tl::unexpected<Problems>(std::move(all));
}
inline tl::unexpected<Problems> fail(Problems all) { return tl::unexpected<Problems>(std::move(all)); }

}  // namespace pw
