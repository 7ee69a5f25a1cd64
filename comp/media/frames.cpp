#include "comp/media/frames.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <optional>

namespace pw {
namespace {

constexpr int64_t kMostFrames = 1000000;

std::string_view trimmed(std::string_view s) {
  while (!s.empty() && s.front() == ' ') s.remove_prefix(1);
  while (!s.empty() && s.back() == ' ') s.remove_suffix(1);
  return s;
}

// Takes a whole number off the front of `s`.
std::optional<int> take_number(std::string_view& s) {
  int v = 0;
  const auto [end, error] = std::from_chars(s.data(), s.data() + s.size(), v);
  if (error != std::errc()) return {};
  s.remove_prefix(static_cast<size_t>(end - s.data()));
  return v;
}

bool take(std::string_view& s, char c) {
  if (s.empty() || s.front() != c) return false;
  s.remove_prefix(1);
  return true;
}

}  // namespace

Result<std::vector<int>> parse_frames(std::string_view text) {
  std::vector<int> frames;
  std::string_view rest = text;
  for (bool more = true; more;) {
    const size_t comma = rest.find(',');
    const std::string_view part = trimmed(rest.substr(0, comma));
    more = comma != std::string_view::npos;
    if (more) rest.remove_prefix(comma + 1);

    std::string_view s = part;
    const auto first = take_number(s);
    std::optional<int> last = first, step = 1;
    if (first && take(s, '-')) {
      last = take_number(s);
      if (last && take(s, 'x')) step = take_number(s);
    }
    if (!first || !last || !step || !s.empty())
      return fail({.what = fmt::format("\"{}\" names no frames", part),
                   .remedy = "write them like 1-48, 1-48x2 (every second) or 5,9,12"});
    if (*last < *first)
      return fail({.what = fmt::format("the frames {} run backwards", part),
                   .remedy = fmt::format("write {}-{}", *last, *first)});
    if (*step < 1)
      return fail(
          {.what = fmt::format("the frames {} have a step of {}", part, *step), .remedy = "steps are 1 or more"});
    if ((int64_t{*last} - *first) / *step + static_cast<int64_t>(frames.size()) >= kMostFrames)
      return fail({.what = fmt::format("\"{}\" names more than a million frames", text), .remedy = "name fewer"});
    for (int64_t f = *first; f <= *last; f += *step) frames.push_back(static_cast<int>(f));
  }
  std::sort(frames.begin(), frames.end());
  frames.erase(std::unique(frames.begin(), frames.end()), frames.end());
  return frames;
}

std::string frames_text(const std::vector<int>& frames) {
  if (frames.empty()) return "none";
  std::string s;
  for (size_t i = 0; i < frames.size();) {
    size_t j = i;
    while (j + 1 < frames.size() && frames[j + 1] == frames[j] + 1) ++j;
    if (!s.empty()) s += ", ";
    s += i == j ? fmt::format("{}", frames[i]) : fmt::format("{}-{}", frames[i], frames[j]);
    i = j + 1;
  }
  return s;
}

std::vector<int> gaps(const std::vector<int>& frames) {
  std::vector<int> missing;
  for (size_t i = 1; i < frames.size(); ++i)
    for (int f = frames[i - 1] + 1; f < frames[i] && missing.size() < size_t{kMostFrames}; ++f) missing.push_back(f);
  return missing;
}

std::string missing_text(const std::vector<int>& frames) {
  if (frames.empty()) return "";
  return fmt::format("frame{} {} {} missing", frames.size() == 1 ? "" : "s", frames_text(frames),
                     frames.size() == 1 ? "is" : "are");
}

}  // namespace pw
