// How a measure keeps a motion: as a track file that begins with the key of what it came from.
#pragma once
#include <string>

#include "comp/media/whole_file.h"
#include "comp/spec/hooks.h"
#include "track/track_file.h"

namespace pw {

inline Result<std::string> text_of(const std::string& path) {
  auto bytes = read_whole_file(path);
  if (!bytes) return fail(bytes.error());
  const ByteSpan s = bytes->bytes();
  return std::string(reinterpret_cast<const char*>(s.data()), s.size());
}

inline constexpr std::string_view kMotionKeyStart = "{\"key\": \"";

inline Result<void> save_motion(const Measured& m, const std::string& stem, const std::string& key) {
  const std::string track = track_text(std::get<Motion>(m));
  const std::string text =
      std::string(kMotionKeyStart) + key + "\", " + track.substr(track.find_first_not_of(" \n", track.find('{') + 1));
  return write_whole_file(stem + ".json", {reinterpret_cast<const unsigned char*>(text.data()), text.size()});
}

inline Result<Measured> recall_motion(const std::string& stem, const std::string& key) {
  auto text = text_of(stem + ".json");
  if (!text) return fail(text.error());
  if (!text->starts_with(std::string(kMotionKeyStart) + key + "\""))
    return fail(Problem{.what = "it came from something else"});
  auto motion = parse_track(*text, stem + ".json");
  if (!motion) return fail(motion.error());
  return Measured(std::move(*motion));
}

}  // namespace pw
