// Any bytes as a .cc file: problems, or numbers that are written and read back the same.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "comp/colour/cdl_file.h"

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  const auto cdl = pw::parse_cdl({reinterpret_cast<const char*>(data), size}, "fuzz.cc");
  if (!cdl) {
    if (pw::to_string(cdl.error()).empty()) std::abort();
    return 0;
  }
  const auto back = pw::parse_cdl(pw::cdl_text(*cdl, "fuzz", "fuzz"), "back.cc");
  if (!back || !(*back == *cdl)) std::abort();
  return 0;
}
