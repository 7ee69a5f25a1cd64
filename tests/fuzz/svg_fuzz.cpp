// Any bytes as a drawing, and as path data: problems or shapes, never a crash; and shapes that were accepted can be
// keyed, moved and drawn.
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "base/outline.h"
#include "comp/matte/raster.h"
#include "comp/matte/svg_path.h"
#include "comp/matte/svg_read.h"

namespace {

void must(bool true_always) {
  if (!true_always) std::abort();
}

void draw(const pw::Outline& outline) {
  for (const pw::RasterOptions& o : {pw::RasterOptions{}, pw::RasterOptions{.feather_px = 2, .shutter_deg = 180}}) {
    const pw::Rect r{-4, -4, 68, 52}, part{10, 7, 40, 31};
    const pw::Picture p = pw::rasterise(outline, 3, r, o);
    for (int y = r.y0; y < r.y1; ++y)
      for (int x = 0; x < r.width(); ++x) must(p.row(y)[x] >= 0 && p.row(y)[x] <= 1);  // Neither nan.
    must(pw::same_bits(p.cropped(part), pw::rasterise(outline, 3, part, o)));
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  if (const auto shape = pw::read_path(text)) {
    must(pw::read_path(pw::to_path(shape->contours)).has_value());
    draw(pw::Outline({{1, *shape}}));
  }
  const auto drawing = pw::parse_svg(text, "fuzz.svg");
  if (!drawing) {
    must(!pw::to_string(drawing.error()).empty());
    return 0;
  }
  pw::plate_from_drawing(*drawing, 64, 48);
  for (const char* name : {"", "goose"}) {
    pw::pick_region(*drawing, name);
    const auto picked = pw::pick(*drawing, name);
    if (!picked) continue;
    if (picked->still) draw(pw::Outline({{1, *picked->still}}));
    if (!picked->keys.empty()) draw(pw::Outline(picked->keys));
  }
  return 0;
}
