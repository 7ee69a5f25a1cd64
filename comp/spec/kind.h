// A kind of node, declared once beside its code. From the declaration come the shot-file check, the command's help, the
// docs, the schema, the cache key and the tests that every kind gets.
#pragma once
#include <functional>
#include <limits>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "comp/spec/hooks.h"
#include "comp/spec/value.h"

namespace pw {

// source: pixels from files. maker: pixels from inputs, pure. measure: looks at whole frames and stores a readable
// result. bake: a measure whose stored result is pictures. sink: writes files.
enum class Family { source, maker, measure, bake, sink };
std::string_view name(Family f);

struct Input {
  std::string_view name;
  Flow flow;
  std::string_view doc;
  bool required = true;
  bool list = false;  // Takes a list of node names as well as one.
  bool bent = false;  // Of a motion: through a lens, or with rows one after the other, it is followed as it is.
};

struct Output {
  std::string_view name;  // The first is what NODE alone means; others are written NODE.name.
  Flow flow;
  std::string_view doc;
};

// Finds what a text beside a parameter's choices stands for, before files are looked at; `shot` may keep it. The value
// is its identity, for the cache key. Problems without a file go on from the parameter's name ("is ..."), but for those
// whose node is "shot".
using Beyond = Result<std::string> (*)(const std::string& text, Shot& shot);

enum class Role { plain, file_in, file_out };

// What a person must be told about one parameter. min and max are hard limits (outside is an error), low and high the
// ends of a slider.
struct Say {
  std::string_view doc;
  Unit unit = Unit::none;
  double min = -std::numeric_limits<double>::infinity();
  double max = std::numeric_limits<double>::infinity();
  double low = min, high = max;
  std::vector<std::string_view> choices = {};  // For an enum: its values in order.
  Beyond beyond = nullptr;                     // Of a text with choices: what else may stand there,
  std::string_view beyond_doc = {};            // in words.
  Role role = Role::plain;
  bool required = false;          // Must be given; the default is then no value.
  bool changes_pixels = true;     // False: left out of the cache key (a file's name on the way out, say).
  std::string_view example = {};  // As it stands in a shot file; used by help where the default says little.
};

struct Param {
  std::string_view name;
  Say say;
  Value fallback;  // Read off a default-constructed Params: written nowhere else. A choice is its text.
  std::function<void(void*, const Value&)> set;
  std::function<Value(const void*)> get;
  bool animated() const { return std::holds_alternative<Animated>(fallback); }
};

// What a rule between parameters has to say.
struct Complaint {
  std::string_view key;  // The parameter or input it is about; empty for the node.
  std::string what, remedy;
};
// Which inputs and parameters stand in the file.
using Given = std::function<bool(std::string_view key)>;

struct Kind {
  std::string_view name;
  Family family;
  int version;  // Raised when the same parameters give other pixels.
  std::string_view doc;
  std::vector<std::string_view> also = {};  // What the trade also calls it: the check offers the kind for these.
  std::vector<Input> inputs = {};
  std::vector<Output> outputs = {};
  std::vector<Param> params = {};
  std::function<std::shared_ptr<void>()> fresh = {};  // Params with their defaults.
  std::vector<std::function<std::optional<Complaint>(const void*, const Given&)>> rules = {};
  // Rules that need the size and frames of the shot.
  std::vector<std::function<std::optional<Complaint>(const void*, const Shot&)>> fits_shot = {};
  Hooks hooks = {};
  // True: the picture changes from frame to frame even when no input does.
  bool restless = false;
  // True: drawn in one piece, without tiles, since what all of them would need costs more than they do.
  bool whole = false;

  const Param* param(std::string_view key) const;
  int input(std::string_view key) const;   // -1: none.
  int output(std::string_view key) const;  // "" is the first; -1: none.
};

using Kinds = std::span<const Kind>;
const Kind* find_kind(Kinds kinds, std::string_view name);

// The text when `v` is none of the choices of `p` but may mean something beyond them.
std::optional<std::string> beyond_choices(const Param& p, const Value& v);

// One sentence without a full stop when `v` may not stand for `p`; empty when it may. What is beyond the choices may
// not.
std::string complaint(const Param& p, const Value& v);

}  // namespace pw
