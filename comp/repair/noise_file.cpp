#include "comp/repair/noise_file.h"

#include <fmt/format.h>

#include <cmath>

#include "track/json_tree.h"

namespace pw {
namespace {

constexpr std::string_view kChannels[3] = {"red", "green", "blue"};

std::string list(const std::vector<double>& v) { return fmt::format("[{}]", fmt::join(v, ", ")); }

// What a file says, checked one piece after the other; the first thing that is wrong is told.
class Reading {
 public:
  explicit Reading(const std::string& file) : file_(file) {}

  const Json* want(const Json& in, std::string_view key, Json::Kind kind) {
    const Json* v = in.find(key);
    if (!v) return say(in, fmt::format("the noise file has no '{}'", key)), nullptr;
    if (v->kind != kind) return say(*v, fmt::format("'{}' is {}", key, pw::name(v->kind))), nullptr;
    return v;
  }
  // `count` numbers from `low` to `high`.
  std::vector<double> numbers(const Json& v, size_t count, double low, double high, std::string_view what) {
    if (v.kind != Json::Kind::list || v.list.size() != count)
      return say(v, fmt::format("'{}' holds not {} numbers", what, count)), std::vector<double>();
    std::vector<double> all;
    for (const Json& n : v.list) {
      if (n.kind != Json::Kind::number || !(n.number >= low && n.number <= high))
        return say(n, fmt::format("'{}' holds what is no number from {} to {}", what, low, high)),
               std::vector<double>();
      all.push_back(n.number);
    }
    return all;
  }
  void say(const Json& at, std::string what) {
    if (problems.empty())
      problems.push_back({.what = std::move(what),
                          .remedy = "measure the noise again, or mend the file",
                          .file = file_,
                          .line = at.line,
                          .column = at.column});
  }
  Problems problems;

 private:
  const std::string& file_;
};

std::vector<Noise::Level> levels(Reading& in, const Json& v, std::string_view channel) {
  std::vector<Noise::Level> all;
  if (v.list.empty() || v.list.size() > 1000) in.say(v, fmt::format("'{}' holds not 1 to 1000 levels", channel));
  for (const Json& pair : v.list) {
    const auto n = in.numbers(pair, 2, 0, 1e6, channel);
    if (!in.problems.empty()) return {};
    if (!all.empty() && n[0] <= all.back().brightness)
      return in.say(pair, fmt::format("'{}' does not ascend in brightness", channel)), std::vector<Noise::Level>();
    all.push_back({n[0], n[1]});
  }
  return all;
}

}  // namespace

std::string noise_text(const Noise& n) {
  std::string t = "{\"format\": \"platewright-noise\", \"version\": 1,\n \"levels\": {";
  for (int c = 0; c < 3; ++c) {
    t += fmt::format("{}\"{}\": [", c ? ",\n   " : "", kChannels[c]);
    for (size_t i = 0; i < n.levels[c].size(); ++i)
      t += fmt::format("{}[{}, {}]", i ? ", " : "", n.levels[c][i].brightness, n.levels[c][i].sigma);
    t += "]";
  }
  t += fmt::format("}},\n \"reach\": {}, \"spatial\": {{", n.reach);
  for (int c = 0; c < 3; ++c) t += fmt::format("{}\"{}\": {}", c ? ",\n   " : "", kChannels[c], list(n.spatial[c]));
  t += fmt::format("}},\n \"between\": {},\n \"rain\": {}}}\n",
                   list({n.between[0][1], n.between[0][2], n.between[1][2]}), list({n.rain[0], n.rain[1], n.rain[2]}));
  return t;
}

Result<Noise> parse_noise(std::string_view text, const std::string& file) {
  auto root = parse_json(text, file);
  if (!root) return fail(root.error());
  Reading in(file);
  const Json* format = root->find("format");
  if (!format || format->text != "platewright-noise") {
    in.say(format ? *format : *root, "this is no noise file: its 'format' is not 'platewright-noise'");
    return fail(in.problems);
  }
  if (const Json* v = in.want(*root, "version", Json::Kind::number); v && v->number != 1)
    in.say(*v, fmt::format("the noise file has version {}, this program reads version 1", v->number));
  Noise n;
  const Json* reach = in.want(*root, "reach", Json::Kind::number);
  if (reach &&
      !(reach->number >= 0 && reach->number <= Noise::kLongestReach && reach->number == std::floor(reach->number)))
    in.say(*reach, fmt::format("'reach' is no whole number from 0 to {}", Noise::kLongestReach));
  const Json *level = in.want(*root, "levels", Json::Kind::table),
             *spatial = in.want(*root, "spatial", Json::Kind::table),
             *between = in.want(*root, "between", Json::Kind::list);
  if (!in.problems.empty()) return fail(in.problems);
  n.reach = static_cast<int>(reach->number);
  const size_t side = 2 * static_cast<size_t>(n.reach) + 1;
  for (int c = 0; c < 3; ++c) {
    if (const Json* v = in.want(*level, kChannels[c], Json::Kind::list)) n.levels[c] = levels(in, *v, kChannels[c]);
    if (const Json* v = in.want(*spatial, kChannels[c], Json::Kind::list))
      n.spatial[c] = in.numbers(*v, side * side, -1, 1, "spatial");
    if (!in.problems.empty()) return fail(in.problems);
    if (n.spatial[c][side * side / 2] != 1) in.say(*spatial, "'spatial' is not 1 in the middle");
  }
  const auto b = in.numbers(*between, 3, -1, 1, "between");
  if (!in.problems.empty()) return fail(in.problems);
  n.between = {{{1, b[0], b[1]}, {b[0], 1, b[2]}, {b[1], b[2], 1}}};
  if (const Json* v = root->find("rain")) {
    const auto rain = in.numbers(*v, 3, 0, 1, "rain");
    if (!in.problems.empty()) return fail(in.problems);
    n.rain = {rain[0], rain[1], rain[2]};
  }
  return n;
}

}  // namespace pw
