// Points and homographies. Positions are continuous: (0,0) is the outer corner of the top-left pixel, x right, y down,
// pixel centres at +0.5. A transform is named b_from_a: it maps points of a to points of b. Names follow R. Hartley, A.
// Zisserman, Multiple View Geometry in Computer Vision, 2nd ed., 2004.
#pragma once
#include <Eigen/Core>
#include <array>
#include <optional>
#include <span>

#include "base/rect.h"

namespace pw {

using Point = Eigen::Vector2d;
using Matrix3 = Eigen::Matrix3d;
using Quad = std::array<Point, 4>;

// H p; not finite where p maps to infinity.
inline Point map(const Matrix3& h, const Point& p) {
  const double w = h(2, 0) * p.x() + h(2, 1) * p.y() + h(2, 2);
  return {(h(0, 0) * p.x() + h(0, 1) * p.y() + h(0, 2)) / w, (h(1, 0) * p.x() + h(1, 1) * p.y() + h(1, 2)) / w};
}

// d map(h, p) / d p: how a small step at p moves the image of p.
Eigen::Matrix2d jacobian(const Matrix3& h, const Point& p);

// h scaled so that h33 = 1; unchanged when h33 is 0.
Matrix3 normalised(const Matrix3& h);
Matrix3 inverted(const Matrix3& h);
Matrix3 translation(double dx, double dy);
Matrix3 scaling(double sx, double sy);

// The homography that takes from[i] to to[i]; nothing when three of the four points of either lie on a line. By a basis
// on each side (P. S. Heckbert, Fundamentals of Texture Mapping and Image Warping, 1989, section 2.2.3).
std::optional<Matrix3> homography(const Quad& from, const Quad& to);

// Least squares over 4 or more pairs by the normalised direct linear transform (Hartley and Zisserman, algorithm 4.2);
// nothing when the pairs are fewer than 4 or do not fix a homography.
std::optional<Matrix3> homography(std::span<const Point> from, std::span<const Point> to);

// OpenCV counts from pixel centres: the same transform in coordinates whose (0,0) is the centre of the top-left pixel,
// and back.
Matrix3 to_pixel_centres(const Matrix3& h);
Matrix3 from_pixel_centres(const Matrix3& h);

// Bounding rectangle of `r` mapped by h; nothing when the line that h sends to infinity crosses r.
std::optional<Rect> mapped_bounds(const Matrix3& h, const Rect& r);

// Signed area of a polygon, positive when its corners run clockwise on screen (y down).
double signed_area(std::span<const Point> polygon);

}  // namespace pw
