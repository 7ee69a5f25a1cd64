// The encodings a person can name, in one order, for every kind that reads or writes code values.
#pragma once
#include <optional>
#include <string_view>
#include <vector>

#include "comp/colour/encoding.h"

namespace pw {

// What stands in a shot file; `tagged` takes what the file says of itself, or what is usual for its format.
enum class EncodingChoice { tagged, srgb, rec709_camera, bt1886, linear, hlg, pq };
inline const std::vector<std::string_view> kEncodingChoices = {"tagged", "srgb", "rec709-camera", "bt1886", "linear",
                                                               "hlg",    "pq"};

inline std::optional<Encoding> chosen(EncodingChoice c) {
  return c == EncodingChoice::tagged ? std::nullopt : encoding(kEncodingChoices[static_cast<size_t>(c)]);
}

}  // namespace pw
