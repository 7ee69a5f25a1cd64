// The encodings a person can name, in one order, for every kind that reads or writes code values; and the colour spaces
// that can stand in their place.
#pragma once
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "comp/colour/encoding.h"
#include "comp/colour/ocio.h"
#include "comp/spec/kind.h"
#include "comp/spec/nearest.h"

namespace pw {

// What stands in a shot file; `tagged` takes what the file says of itself, or what is usual for its format.
inline const std::vector<std::string_view> kEncodingChoices = {"tagged", "srgb", "rec709-camera", "bt1886", "linear",
                                                               "hlg",    "pq"};
inline constexpr std::string_view kColourSpaceDoc = "a colour space of shot.ocio";

// One of ours; none for `tagged` and for a colour space.
inline std::optional<Encoding> chosen(const std::string& text) { return encoding(text); }

// Ours come before colour spaces of the same name.
inline bool is_ours(const std::string& text) {
  return std::ranges::find(kEncodingChoices, text) != kEncodingChoices.end();
}

// Null: it is one of the choices. The survey found the others in the shot's configuration.
inline std::shared_ptr<const SpaceTransform> space_transform(const std::string& text, const Shot& shot,
                                                             Colours::Way way) {
  if (is_ours(text) || !shot.colours) return nullptr;
  const auto found = shot.colours->find(text, way);
  return found ? *found : nullptr;
}

// Adds to the problem that `text` is no colour space what it may be.
inline std::string colour_space_remedy(const std::string& text, const Colours& colours) {
  constexpr size_t kMostListed = 12;
  const std::vector<std::string> names = colours.names();
  std::vector<std::string> all(kEncodingChoices.begin(), kEncodingChoices.end());
  for (const auto& more : {names, colours.aliases()}) all.insert(all.end(), more.begin(), more.end());
  const std::string meant = nearest(text, all);
  return fmt::format("{}it may be {}, or {}", meant.empty() ? "" : fmt::format("did you mean \"{}\"? ", meant),
                     fmt::join(kEncodingChoices, ", "),
                     names.size() <= kMostListed ? fmt::format("{}", fmt::join(names, ", "))
                                                 : fmt::format("one of {} colour spaces", names.size()));
}

inline Result<std::string> find_space(const std::string& text, Shot& shot, Colours::Way way) {
  using Found = Result<std::shared_ptr<const SpaceTransform>>;
  if (!shot.colours) {
    auto opened = Colours::open(shot.ocio, shot.ocio_linear);
    if (!opened) return fail(opened.error());
    shot.colours = *opened;
  }
  // A choice of others that this parameter does not have is no space either.
  auto found =
      is_ours(text) ? Found(fail(Problem{.what = fmt::format("is \"{}\"", text)})) : shot.colours->find(text, way);
  if (!found) {
    for (Problem& p : found.error())
      if (p.remedy.empty()) p.remedy = colour_space_remedy(text, *shot.colours);
    return fail(found.error());
  }
  return (*found)->identity();
}

// What Say::beyond of an encoding is.
inline Result<std::string> space_that_is_read(const std::string& text, Shot& shot) {
  return find_space(text, shot, Colours::Way::reading);
}
inline Result<std::string> space_that_is_written(const std::string& text, Shot& shot) {
  return find_space(text, shot, Colours::Way::writing);
}
inline Result<std::string> space_that_is_worked_in(const std::string& text, Shot& shot) {
  auto out = space_that_is_written(text, shot);
  return out ? space_that_is_read(text, shot).map([&](const std::string& in) { return *out + in; }) : out;
}

}  // namespace pw
