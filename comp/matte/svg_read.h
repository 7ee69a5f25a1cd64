// Outlines out of SVG drawings, as any vector editor writes them: Scalable Vector Graphics (SVG) 1.1, W3C 2011.
//
// What is drawn is what counts, not how it is painted: path, rect, circle, ellipse, polygon, polyline, each taken as
// filled (open ones are closed by a straight side), under the transforms of its groups and the view box. Pictures,
// styles, gradients and the like are passed over, and nothing a drawing refers to is ever fetched.
//
// A shape is named by its id, its aria-label or a <title> directly inside of it; it may be a group. Frames: things
// inside a group named frame-12 are drawn on frame 12, and so is a thing named goose-12, which is the goose's drawing
// there (ids must differ within a file). A group with such a name and nothing in it says that the thing is gone from
// that frame on. What is hidden (display none, visibility hidden) is left out; a thing that is asked for by its name or
// its frame counts even where it, or what it stands in, is hidden.
#pragma once
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/contour.h"
#include "base/problem.h"

namespace pw {

// A drawn element, or something that stands in its place and can not be read.
struct SvgItem {
  std::vector<Contour> contours;  // In pixels of the drawing.
  int hidden_depth = -1;          // Depth of the innermost element on the way down to it that hides it; -1: none does.
  std::optional<Problem> problem;
};

// An element with a name; one that has several names is listed with each.
struct SvgName {
  std::string name;
  std::optional<int> frame;  // Of the innermost group frame-N it stands in or is.
  int depth = 0;
  size_t first = 0, last = 0;  // Its items, half-open.
};

struct SvgDrawing {
  std::string file;
  double width = 0, height = 0;  // Pixels; 0 when the drawing does not say.
  std::vector<SvgItem> items;
  std::vector<SvgName> names;
};

inline constexpr uint64_t kMostSvgBytes = 64 << 20;

// Refused, each with its place and a remedy: files over 64 MB, what is not XML or not SVG, entities, scripts, anything
// that refers outside of the file (a picture beside it excepted, which is not read), more than 100,000 knots,
// numbers that cannot be read or lie more than a million pixels off. `file` is the name problems give.
Result<SvgDrawing> parse_svg(std::string_view text, std::string file);
Result<SvgDrawing> load_svg(const std::string& file);

struct SvgPick {
  std::map<int, Shape> keys;   // Drawn on frames.
  std::optional<Shape> still;  // Drawn on no frame in particular; only where there are no keys.
  Problems warnings;           // What was passed over, such as text.
};

// "goose-12": the goose, on frame 12. Without a frame: the whole name.
std::pair<std::string_view, std::optional<int>> split_frame(std::string_view name);

// The shape of that name, or with an empty name all that is drawn. A problem that names what there is when there is no
// such name, or when something in it cannot be read, such as a <use>.
Result<SvgPick> pick(const SvgDrawing& drawing, std::string_view name);

// The corners of the first outline drawn under that name, for a plane's region.
Result<std::vector<Point>> pick_region(const SvgDrawing& drawing, std::string_view name);

// From the drawing's pixels to the plate's: the identity when the drawing is of the plate's size or does not say its
// own; a scaling when it has the same shape; a problem when it has not.
Result<Matrix3> plate_from_drawing(const SvgDrawing& drawing, int plate_width, int plate_height);

}  // namespace pw
