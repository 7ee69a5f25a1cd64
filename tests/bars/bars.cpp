#include "bars.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <stdexcept>

#include "comp/graph/shot_text.h"

namespace pw {
namespace {

const Raw* entry(const RawTable& table, const std::string& key) {
  for (const RawEntry& e : table)
    if (e.key == key) return &e.value;
  return nullptr;
}

double number(const Raw& raw) {
  if (const auto* i = std::get_if<int64_t>(&raw.value)) return static_cast<double>(*i);
  return std::get<double>(raw.value);
}

}  // namespace

void bar(const std::string& name, double measured) {
  static const auto text = read_shot(PW_SOURCE_DIR "/tests/bars.toml");
  if (!text) throw std::runtime_error(to_string(text.error()));
  const Raw* row = entry(text->entries, name);
  if (!row) throw std::runtime_error("tests/bars.toml has no row " + name);
  const auto& fields = std::get<RawTable>(row->value);
  const double reached = number(*entry(fields, "reached"));
  // Libraries may pick other instructions on another machine of the same target; this much is no loss.
  const Raw* given_slack = entry(fields, "slack");
  const double slack = given_slack ? number(*given_slack) : 0.01 * std::abs(reached);
  if (std::get<std::string>(entry(fields, "better")->value) == "lower")
    EXPECT_LE(measured, reached + slack) << name << " is worse than what was reached before";
  else
    EXPECT_GE(measured, reached - slack) << name << " is worse than what was reached before";
  const std::filesystem::path folder = PW_BINARY_DIR "/bars";
  std::filesystem::create_directories(folder);
  std::ofstream(folder / std::to_string(getpid()), std::ios::app) << name << " " << measured << "\n";
}

}  // namespace pw
