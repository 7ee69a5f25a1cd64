// Any bytes as a noise file: a message or a noise that survives being written and read again.
#include <cstdlib>

#include "comp/repair/noise_file.h"

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  const auto noise = pw::parse_noise({reinterpret_cast<const char*>(data), size}, "fuzz.json");
  if (!noise) return 0;
  const auto again = pw::parse_noise(pw::noise_text(*noise), "fuzz.json");
  if (!again || pw::noise_text(*again) != pw::noise_text(*noise)) std::abort();
  return 0;
}
