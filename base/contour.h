// Closed outlines of cubic Bezier segments, in plate pixels: (0,0) is the outer corner of the top-left pixel, as in
// SVG.
#pragma once
#include <array>
#include <span>
#include <vector>

#include "base/transform.h"

namespace pw {

// A point the outline passes through, and the handles of the segment that arrives there (in) and of the one that leaves
// (out), all absolute positions. A straight side has its handles on its thirds.
struct Knot {
  Point at, in, out;
};

enum class FillRule { even_odd, nonzero };

// Knot i leads to knot i + 1, the last one to the first. Contours of a shape that share a `path` number are filled
// together by that path's rule, so that one can be a hole in the other; different paths unite.
struct Contour {
  std::vector<Knot> knots;
  int path = 0;
  FillRule rule = FillRule::even_odd;
};

struct Shape {
  std::vector<Contour> contours;
  bool empty() const { return contours.empty(); }
};

using Cubic = std::array<Point, 4>;

// Segment i of a contour: its two knots and the handles between them.
Cubic segment(const Contour& c, size_t i);
Point at(const Cubic& s, double t);

// Straight sides through the corners.
Contour polygon(std::span<const Point> corners);
// Eight cubics; off a true ellipse by less than 5e-6 of the larger radius.
Contour ellipse(const Point& centre, double rx, double ry);

// The same curve run the other way.
Contour reversed(const Contour& c);
// The same curve with knots at exactly these places and nowhere else: ascending parameters, segment number plus the
// cubic's own parameter, at least one, spanning less than one turn, beyond the last segment going on with the first.
// Every knot of c must be among them for the curve to stay the same.
Contour cut(const Contour& c, std::span<const double> places);

// Every knot and handle mapped: exact for affine maps. A cubic seen in perspective is not a cubic; its error falls with
// the square of the segment's length, see with_sides_below().
Contour mapped(const Contour& c, const Matrix3& h);
Shape mapped(const Shape& s, const Matrix3& h);
// The same curve with extra knots, so that no segment's handles span more than `length_px`.
Contour with_sides_below(const Contour& c, double length_px);

// Area by Green's theorem, positive when the contour runs clockwise on screen.
double signed_area(const Contour& c);
// The smallest rectangle of whole pixels around all knots and handles, which holds the curve; corners beyond a million
// pixels are held there.
Rect bounds(const Shape& s);

}  // namespace pw
