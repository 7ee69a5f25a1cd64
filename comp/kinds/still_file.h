// What kinds share that read a still from a file, or keep one.
#pragma once
#include <string>
#include <utility>
#include <vector>

#include "comp/kinds/encoding_choice.h"
#include "comp/media/identity.h"
#include "comp/media/still.h"
#include "comp/spec/declare.h"

namespace pw {

inline Say still_encoding() {
  return {.doc = "What the file's code values mean; tagged: what the file says, or what is usual for its format.",
          .choices = kEncodingChoices,
          .beyond = space_that_is_read,
          .beyond_doc = kColourSpaceDoc};
}

inline ReadOptions still_options(const std::string& encoding, const Shot& shot) {
  return {chosen(encoding), space_transform(encoding, shot, Colours::Way::reading)};
}

// Without a file there is nothing to know.
inline Result<Survey> survey_still_file(const std::string& file, const std::string& encoding, const Shot& shot) {
  Survey s;
  if (file.empty()) return s;
  const std::string path = shot.path(file);
  auto info = inspect_still(path, still_options(encoding, shot));
  if (!info) return fail(info.error());
  s.warnings = std::move(info->warnings);
  s.identity = file_identity(path);
  return s;
}

inline Result<Picture> read_still_file(const std::string& file, const std::string& encoding, const Measuring& m) {
  auto read = read_still(m.shot.path(file), still_options(encoding, m.shot));
  if (!read) return fail(read.error());
  for (Problem& w : read->warnings) m.warn(std::move(w));
  return std::move(read->picture);
}

// As STEM.exr, to the last bit, with texts beside it.
inline Result<void> save_still(const Still& s, const std::string& stem,
                               std::vector<std::pair<std::string, std::string>> texts) {
  WriteOptions o;
  o.depth = Depth::float32;
  o.encoding = Encoding::linear;
  o.compression = "zip";
  o.width = s.picture.window().x1, o.height = s.picture.window().y1;
  o.texts = std::move(texts);
  if (auto written = write_still(stem + ".exr", s.picture, o); !written) return fail(written.error());
  return {};
}

inline const Still& own_still(const Ask& a) { return std::get<Still>(*a.own); }

inline Rect still_extent(const Still& s, const Shot& shot) {
  const auto bounds = mapped_bounds(scaling(shot.scale, shot.scale), s.picture.window());
  return bounds ? *bounds : Rect{};
}

}  // namespace pw
