#include "comp/matte/raster.h"

#include <gtest/gtest.h>

#include <cmath>
#include <map>
#include <numbers>

#include "base/random.h"
#include "comp/matte/svg_path.h"

namespace pw::raster_test {

constexpr double kPi = std::numbers::pi;

Shape shape(const char* path) { return *read_path(path); }

double sum(const Picture& p) {
  double s = 0;
  for (int y = p.window().y0; y < p.window().y1; ++y)
    for (int x = p.window().x0; x < p.window().x1; ++x) s += *p.at(x, y);
  return s;
}

// Worst difference of a pixel from 64 x 64 points, of which those are filled that a ray to the left says are: crossings
// with 400 chords a segment, counted for each path.
double against_samples(const Shape& s, const Rect& r) {
  constexpr int n = 64;
  struct Crossing {
    double x;
    int path, direction;
  };
  std::map<int, FillRule> rules;
  for (const Contour& c : s.contours) rules[c.path] = c.rule;
  const Picture p = rasterise(s, r);
  double worst = 0;
  for (int y = r.y0; y < r.y1; ++y) {
    std::vector<int> count(r.width());
    for (int j = 0; j < n; ++j) {
      const double at_y = y + (j + 0.5) / n;
      std::vector<Crossing> crossings;
      for (const Contour& c : s.contours)
        for (size_t i = 0; i < c.knots.size(); ++i) {
          Point a = c.knots[i].at;
          for (int k = 1; k <= 400; ++k) {
            const Point b = at(segment(c, i), k / 400.0);
            if ((a.y() <= at_y) != (b.y() <= at_y))
              crossings.push_back(
                  {a.x() + (at_y - a.y()) / (b.y() - a.y()) * (b.x() - a.x()), c.path, a.y() < b.y() ? 1 : -1});
            a = b;
          }
        }
      for (int i = 0; i < r.width() * n; ++i) {
        std::map<int, int> winding;
        for (const Crossing& c : crossings)
          if (c.x <= r.x0 + (i + 0.5) / n) winding[c.path] += c.direction;
        bool filled = false;
        for (const auto& [path, w] : winding) filled |= rules[path] == FillRule::even_odd ? w & 1 : w != 0;
        count[i / n] += filled;
      }
    }
    for (int x = r.x0; x < r.x1; ++x) worst = std::max(worst, std::abs(*p.at(x, y) - count[x - r.x0] / double(n * n)));
  }
  return worst;
}

TEST(Raster, PixelsOfARectangleAreItsAreas) {
  const Picture p = rasterise(shape("M 1.25 2.5 H 4.5 V 5 H 1.25 Z"), {0, 0, 6, 6});
  const float row[6] = {0, 0.75f, 1, 1, 0.5f, 0};
  for (int y = 0; y < 6; ++y)
    for (int x = 0; x < 6; ++x)
      EXPECT_EQ(*p.at(x, y), row[x] * (y == 2 ? 0.5f : y == 3 || y == 4 ? 1.f : 0.f)) << x << "," << y;
}

TEST(Raster, ADiagonalCutsPixelsInHalf) {
  const Picture p = rasterise(shape("M 0 0 L 8 8 H 0 Z"), {0, 0, 8, 8});
  for (int y = 0; y < 8; ++y)
    for (int x = 0; x < 8; ++x) EXPECT_FLOAT_EQ(*p.at(x, y), x < y ? 1.f : x == y ? 0.5f : 0.f);
}

TEST(Raster, AreaOfACircle) {
  for (double radius : {0.3, 5.0, 77.7, 400.0}) {
    const Shape s{{ellipse({500.3, 500.7}, radius, radius)}};
    const double area = kPi * radius * radius;
    // Chords lie inside the curve by at most 0.005 px.
    EXPECT_NEAR(sum(rasterise(s, {0, 0, 1000, 1000})), area, 2 * kPi * radius * 0.005 + 1e-5 * area) << radius;
  }
}

TEST(Raster, CurvesAndHolesAgainstSamples) {
  EXPECT_LT(
      against_samples(shape("M 2 3 C 20 -4 22 20 9 21 C -6 22 12 9 2 3 Z M 6 8 C 8 6 14 9 12 14 C 9 17 5 12 6 8 Z"),
                      {-1, -1, 25, 25}),
      0.02);
}

TEST(Raster, PathsThatCrossThemselvesAgainstSamples) {
  Shape star = shape("M 12 1 L 19 22 L 1 9 L 23 9 L 5 22 Z");
  EXPECT_LT(against_samples(star, {0, 0, 24, 24}), 0.02);
  star.contours[0].rule = FillRule::nonzero;
  EXPECT_LT(against_samples(star, {0, 0, 24, 24}), 0.02);
}

TEST(Raster, PathsUniteAgainstSamples) {
  Shape s{{ellipse({8, 9}, 6, 7), ellipse({14, 12}, 5, 8),
           polygon(std::vector<Point>{{4, 4}, {20, 5}, {18, 14}, {5, 13}})}};
  for (int i = 0; i < 3; ++i) s.contours[i].path = i;
  EXPECT_LT(against_samples(s, {0, 0, 24, 24}), 0.02);
}

TEST(Raster, RandomScribblesAgainstSamples) {
  for (int seed = 0; seed < 6; ++seed) {
    Shape s;
    for (int k = 0; k < 2; ++k) {
      std::vector<Point> p;
      for (int i = 0; i < 7; ++i) {
        const RandomBits r = random_bits(seed, k, i, 0);
        p.emplace_back(uniform(r[0]) * 14 - 1, uniform(r[1]) * 14 - 1);
      }
      s.contours.push_back(polygon(p));
      s.contours.back().path = k;
      s.contours.back().rule = seed & 1 ? FillRule::nonzero : FillRule::even_odd;
    }
    EXPECT_LT(against_samples(s, {0, 0, 12, 12}), 0.025) << seed;
  }
}

TEST(Raster, NeighboursThatShareASideLeaveNoSeam) {
  Shape s{{polygon(std::vector<Point>{{2, 2}, {11.3, 2}, {7.1, 18}, {2, 18}}),
           polygon(std::vector<Point>{{7.1, 18}, {11.3, 2}, {20, 2}, {20, 18}})}};
  s.contours[1].path = 1;
  for (const double feather : {0.0, 3.0}) {
    const Picture p = rasterise(s, {0, 0, 22, 20}, feather);
    for (int x = 6; x < 16; ++x) EXPECT_EQ(*p.at(x, 10), 1.f) << x;
  }
  s.contours[1].path = 0;  // Within one path just the same.
  EXPECT_EQ(*rasterise(s, {0, 0, 22, 20}).at(9, 10), 1.f);
}

TEST(Raster, OutsideIsExactlyNothingAndInsideExactlyOne) {
  const Shape s{{ellipse({50.123, 47.77}, 30.3, 21.9)}};
  for (const double feather : {0.0, 4.0}) {
    const Picture p = rasterise(s, {0, 0, 100, 100}, feather);
    for (int y = 0; y < 100; ++y)
      for (int x = 0; x < 100; ++x) {
        const double dx = x + 0.5 - 50.123, dy = y + 0.5 - 47.77;
        const double far = (std::hypot(dx / 30.3, dy / 21.9) - 1) * 21.9;  // At most the distance.
        if (far > 1 + feather) {
          EXPECT_EQ(*p.at(x, y), 0.f);
        } else if (far < -1.5 * (1 + feather)) {
          EXPECT_EQ(*p.at(x, y), 1.f);
        }
      }
  }
}

TEST(Raster, PartsAreTheWholeBitForBit) {
  const Shape s = shape("M 12 13 C 120 -34 122 120 59 71 C -56 122 112 39 12 13 Z M 30 20 L 90 40 L 31 62 Z");
  for (const double feather : {0.0, 0.7, 9.0}) {
    const Rect all{-20, -20, 140, 130};
    const Picture whole = rasterise(s, all, feather);
    for (const Rect r :
         {Rect{-20, -20, 17, 31}, {17, 31, 64, 33}, {40, 40, 41, 41}, {60, 0, 140, 130}, {-20, 77, 140, 78}})
      EXPECT_TRUE(same_bits(rasterise(s, r, feather), whole.cropped(r))) << feather << " " << r.x0;
  }
}

TEST(Raster, FeatherFollowsTheDistance) {
  const auto falloff = [](double distance_inside, double feather) {
    const double u = std::clamp(0.5 + 0.5 * distance_inside / std::sqrt(feather * feather + 0.5776), 0.0, 1.0);
    return u * u * u * (u * (u * 6 - 15) + 10);
  };
  const Shape circle{{ellipse({60, 60}, 35, 35)}};
  const Picture p = rasterise(circle, {0, 0, 120, 120}, 10);
  for (int x = 0; x < 120; ++x)
    EXPECT_NEAR(*p.at(x, 55), falloff(35 - std::hypot(x + 0.5 - 60, 55.5 - 60), 10), 1e-3) << x;
  // Corners are round outside: distance, not the product of two edges.
  const Picture q = rasterise(shape("M 40 40 H 80 V 80 H 40 Z"), {0, 0, 120, 120}, 8);
  EXPECT_NEAR(*q.at(36, 36), falloff(-std::hypot(3.5, 3.5), 8), 1e-4);
  EXPECT_NEAR(*q.at(60, 36), falloff(-3.5, 8), 1e-4);
}

TEST(Raster, FeatherHasNoSeamInsideOfAUnion) {
  Shape s{{polygon(std::vector<Point>{{10, 10}, {70, 10}, {70, 40}, {10, 40}}),
           polygon(std::vector<Point>{{30, 20}, {50, 20}, {50, 80}, {30, 80}})}};
  s.contours[1].path = 1;
  const Picture p = rasterise(s, {0, 0, 90, 90}, 5);
  EXPECT_EQ(*p.at(40, 25), 1.f);  // Beside the inner one's upper side ...
  EXPECT_EQ(*p.at(31, 30), 1.f);  // ... its left ...
  EXPECT_EQ(*p.at(40, 40), 1.f);  // ... and the outer one's lower side.
  EXPECT_LT(*p.at(20, 40), 0.5f);
}

TEST(Raster, AThinFeatherIsCloseToTheArea) {
  const Shape s{{ellipse({20.3, 20.1}, 12, 9)}};
  const Rect r{0, 0, 40, 40};
  const Picture hard = rasterise(s, r), soft = rasterise(s, r, 1e-6);
  double worst = 0;
  for (int y = 0; y < 40; ++y)
    for (int x = 0; x < 40; ++x) worst = std::max<double>(worst, std::abs(*hard.at(x, y) - *soft.at(x, y)));
  EXPECT_LT(worst, 0.12);
}

TEST(Raster, BoundsHoldAllThatIsNotZero) {
  const Shape s{{ellipse({50.5, 40.5}, 20.2, 10.9)}};
  for (const double feather : {0.0, 3.0}) {
    const Rect r = raster_bounds(s, feather);
    EXPECT_DOUBLE_EQ(sum(rasterise(s, r, feather)), sum(rasterise(s, r.grown(20), feather)));
    EXPECT_LE(r.width(), 44 + 2 * 4);
  }
}

TEST(Raster, DegenerateShapesAreNothing) {
  const Rect r{0, 0, 9, 9};
  for (const char* path : {"M 1 1 L 8 8 Z", "M 1 1 H 8 Z", "M 4 1 V 8 Z", "M 3 3 L 3 3 Z"})
    for (const double feather : {0.0, 2.0}) EXPECT_EQ(sum(rasterise(shape(path), r, feather)), 0) << path;
  EXPECT_TRUE(rasterise(shape("M 0 0 H 5 V 5 Z"), Rect{}).empty());
  Shape bad = shape("M 0 0 H 5 V 5 Z");
  bad.contours[0].knots[1].at = {std::nan(""), 1e300};
  rasterise(bad, r);  // Something, without a fault.
}

TEST(Raster, ACrowdedRowIsStillCloseToItsArea) {
  // 400 slivers within a few rows: more slabs than are cut exactly.
  Shape s;
  double area = 0;
  for (int i = 0; i < 400; ++i) {
    const RandomBits b = random_bits(3, i, 0, 0);
    const double x = 1 + 0.25 * i, y = 3 + uniform(b[0]), h = 2 * uniform(b[1]) + 0.1;
    s.contours.push_back(polygon(std::vector<Point>{{x, y}, {x + 0.2, y}, {x + 0.2, y + h}, {x, y + h}}));
    area += 0.2 * h;
  }
  EXPECT_NEAR(sum(rasterise(s, {0, 0, 110, 10})), area, 0.005 * area);
  EXPECT_TRUE(same_bits(rasterise(s, {0, 0, 110, 10}).cropped({20, 4, 40, 5}), rasterise(s, {20, 4, 40, 5})));
}

Outline slide(double px_per_frame) {
  const auto square = [](double x) {
    return Shape{{polygon(std::vector<Point>{{x, 10}, {x + 20, 10}, {x + 20, 30}, {x, 30}})}};
  };
  return Outline({{1, square(20)}, {11, square(20 + 10 * px_per_frame)}}, Between::linear);
}

TEST(RasterOutline, SmearIsARampAsWideAsThePathOverTheShutter) {
  // 16 px a frame, open for half of it: the edge's coverage rises over 8 px, centred on where it stands.
  const Picture p = rasterise(slide(16), 5, {0, 0, 200, 40}, {.shutter_deg = 180});
  const double edge = 20 + 4 * 16;
  for (int x = 70; x < 100; ++x) {
    const double share = std::clamp((x + 0.5 - (edge - 4)) / 8, 0.0, 1.0);
    EXPECT_NEAR(*p.at(x, 20), share, 0.035) << x;
  }
  EXPECT_EQ(*p.at(95, 20), 1.f);
  EXPECT_EQ(*p.at(75, 20), 0.f);
}

TEST(RasterOutline, WhatRestsIsNotSmeared) {
  const Outline o = slide(0);
  EXPECT_TRUE(same_bits(rasterise(o, 5, {0, 0, 60, 40}, {.shutter_deg = 360}), rasterise(o.at(5), {0, 0, 60, 40})));
}

TEST(RasterOutline, PartsOfASmearAreTheWholeBitForBit) {
  const RasterOptions options{.feather_px = 2, .shutter_deg = 270};
  const Picture whole = rasterise(slide(7), 5, {0, 0, 120, 50}, options);
  for (const Rect r : {Rect{0, 0, 41, 17}, {41, 17, 120, 50}})
    EXPECT_TRUE(same_bits(whole.cropped(r), rasterise(slide(7), 5, r, options)));
  EXPECT_TRUE((Rect{0, 0, 120, 50}).contains(raster_bounds(slide(7), 5, options)));
  EXPECT_DOUBLE_EQ(sum(whole), sum(rasterise(slide(7), 5, raster_bounds(slide(7), 5, options), options)));
}

TEST(RasterOutline, ScaleDrawsTheProxy) {
  const Picture half = rasterise(slide(4), 1, {0, 0, 40, 20}, {.scale = 0.5});
  EXPECT_DOUBLE_EQ(sum(half), 100);
  EXPECT_EQ(*half.at(10, 5), 1.f);
  EXPECT_EQ(*half.at(9, 5), 0.f);
}

}  // namespace pw::raster_test
