// How a measure keeps a few numbers: as a JSON object that holds the key of what it came from.
#pragma once
#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "comp/media/whole_file.h"

namespace pw {

inline Result<void> save_json(const nlohmann::ordered_json& object, const std::string& stem) {
  const std::string text = object.dump(1) + "\n";
  return write_whole_file(stem + ".json", {reinterpret_cast<const unsigned char*>(text.data()), text.size()});
}

inline Problem damaged_store() { return {.what = "it is damaged"}; }

// The object. Problems: it cannot be read, is damaged, or has another key.
inline Result<nlohmann::json> recall_json(const std::string& stem, const std::string& key) {
  auto bytes = read_whole_file(stem + ".json");
  if (!bytes) return fail(bytes.error());
  const ByteSpan s = bytes->bytes();
  auto object = nlohmann::json::parse(s.begin(), s.end(), nullptr, false);
  if (!object.is_object()) return fail(damaged_store());
  if (!object.contains("key") || object["key"] != key) return fail(Problem{.what = "it came from something else"});
  return object;
}

// A list of `count` numbers; nothing when there is none of that name, or not such a one. JSON has finite ones only.
inline std::optional<std::vector<double>> stored_numbers(const nlohmann::json& object, const char* name, size_t count) {
  const auto at = object.find(name);
  if (at == object.end() || !at->is_array() || at->size() != count) return std::nullopt;
  std::vector<double> all;
  for (const auto& v : *at) {
    if (!v.is_number()) return std::nullopt;
    all.push_back(v.get<double>());
  }
  return all;
}

inline std::optional<double> stored_number(const nlohmann::json& object, const char* name) {
  const auto at = object.find(name);
  if (at == object.end() || !at->is_number()) return std::nullopt;
  return at->get<double>();
}

}  // namespace pw
