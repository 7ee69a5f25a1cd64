// Regions drawn as polygons.
#pragma once
#include <span>
#include <vector>

#include "base/rect.h"
#include "base/transform.h"

namespace pw {

// Smallest rectangle of whole pixels that holds the polygon.
Rect bounds(std::span<const Point> polygon);

// For every pixel of `window`, row by row: the share of it inside the polygon (even-odd rule; may be concave or cross
// itself), from 4 x 4 samples, 0 to 1.
std::vector<float> coverage(std::span<const Point> polygon, const Rect& window);

std::vector<Point> mapped(const Matrix3& h, std::span<const Point> polygon);

// Whether a point lies in it, by the even-odd rule.
bool contains(std::span<const Point> polygon, const Point& p);

// Area of the part of the polygon inside the rectangle, px^2 (Sutherland and Hodgman's clipping, 1974; exact for simple
// polygons).
double area_inside(std::span<const Point> polygon, const Rect& r);

// Whether a homography can be how a camera sees the region elsewhere: all its corners before the camera, not mirrored,
// its area 0.01 to 100 times as large.
bool plausible(const Matrix3& h, std::span<const Point> region);

// Longest way between where two homographies put a corner.
double farthest(const Matrix3& a, const Matrix3& b, std::span<const Point> region);

}  // namespace pw
