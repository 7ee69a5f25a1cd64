// A drawing to draw outlines and regions on: one frame of the plate with what there is of them already.
#pragma once
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/contour.h"

namespace pw {

struct OutlineSheet {
  int width = 0, height = 0;  // Of the plate, and of the drawing, pixels.
  int frame = 0;
  std::string_view png;                                             // The frame as a PNG file's bytes.
  std::vector<std::pair<std::string, Shape>> outlines;              // Named, as they are on that frame.
  std::vector<std::pair<std::string, std::vector<Point>>> regions;  // Named corners, of planes.
};

// SVG text. The frame lies in a group "picture"; outlines and regions in a group "frame-12", drawn and named such
// that pick() finds an outline by its name on that frame and pick_region() a region's corners, within 1e-6 px.
std::string outline_sheet(const OutlineSheet& sheet);

}  // namespace pw
