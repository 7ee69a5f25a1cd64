#include "comp/matte/sweep.h"

#include <gtest/gtest.h>

#include <cmath>

#include "comp/matte/svg_path.h"

namespace pw::sweep_test {

double length(const std::vector<Side>& sides) {
  double sum = 0;
  for (const Side& s : sides) sum += std::hypot(s.x1 - s.x0, s.y1 - s.y0);
  return sum;
}

TEST(Sweep, ChordsAreCloseToTheCurve) {
  const SweepEdges s = edges_of({{ellipse({300, 300}, 200, 200)}});
  double inside = 0;
  for (const Edge& e : s.edges) {
    const double middle = std::hypot((e.x0 + e.x1) / 2 - 300, (e.y0 + e.y1) / 2 - 300);
    inside = std::max(inside, 200 - middle);
    EXPECT_LT(e.y0, e.y1);
  }
  EXPECT_LT(inside, 0.005);
  EXPECT_GT(inside, 0.0005);  // And not more of them than that needs.
  EXPECT_LT(s.edges.size(), 500u);
}

TEST(Sweep, SlabsOfARowFillIt) {
  const SweepEdges s = edges_of(*read_path("M 1.3 0.2 L 8.7 3.1 L 2.2 6.9 L 9 1 L 0.5 4 Z"));
  std::map<int, int> heights;
  sweep(s, 0, 7, [&](int row, const Slab& slab) {
    heights[row] += slab.y1 - slab.y0;
    EXPECT_EQ(slab.borders.size() % 2, 0u);
    EXPECT_FALSE(slab.y0 < 1 << 19 && slab.y1 > 1 << 19);
    for (size_t i = 1; i < slab.borders.size(); ++i) {
      EXPECT_GE(slab.borders[i].top, slab.borders[i - 1].top - 1e-5);
      EXPECT_GE(slab.borders[i].bottom, slab.borders[i - 1].bottom - 1e-5);
    }
  });
  EXPECT_EQ(heights[2], 1 << 20);
  EXPECT_EQ(heights[3], 1 << 20);
}

TEST(Sweep, BoundaryOfSimpleThings) {
  EXPECT_NEAR(length(boundary(edges_of(*read_path("M 1 1 H 11 V 6 H 1 Z")))), 30, 1e-6);
  EXPECT_NEAR(length(boundary(edges_of(*read_path("M 1.2 1.7 L 9.1 4.4 L 3 8.8 Z")))),
              std::hypot(7.9, 2.7) + std::hypot(6.1, 4.4) + std::hypot(1.8, 7.1), 1e-5);
  EXPECT_NEAR(length(boundary(edges_of({{ellipse({50, 50}, 30, 30)}}))), 2 * M_PI * 30, 0.02);
  EXPECT_TRUE(boundary(edges_of({})).empty());
}

TEST(Sweep, BoundaryOfAUnionHasNothingInside) {
  Shape s{{polygon(std::vector<Point>{{0, 0}, {20, 0}, {20, 10}, {0, 10}}),
           polygon(std::vector<Point>{{5, 5}, {15, 5}, {15, 30}, {5, 30}}),
           polygon(std::vector<Point>{{20, 0}, {30, 0}, {30, 10}, {20, 10}})}};  // Abuts the first.
  EXPECT_NEAR(length(boundary(edges_of(s))), 80 + 70, 1e-6);  // One path, even-odd: all sides but the shared one.
  for (int i = 0; i < 3; ++i) s.contours[i].path = i;
  EXPECT_NEAR(length(boundary(edges_of(s))), 80 + 2 * 20, 1e-6);
}

TEST(Sweep, AHugeShapeHasABoundedNumberOfEdges) {
  Shape s;
  for (int i = 0; i < 2000; ++i) s.contours.push_back(ellipse({i * 10.0, 0}, 9e5, 9e5));
  EXPECT_LE(edges_of(s).edges.size(), 4'100'000u);
}

}  // namespace pw::sweep_test
