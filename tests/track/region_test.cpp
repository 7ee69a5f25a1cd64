#include "track/region.h"

#include <gtest/gtest.h>

#include <numeric>

namespace pw::region_test {

const std::vector<Point> kArrow{{2, 2}, {18, 2}, {18, 14}, {10, 6}, {2, 14}};

TEST(Region, CoverageSumsToTheArea) {
  const auto share = coverage(kArrow, bounds(kArrow));
  EXPECT_NEAR(std::accumulate(share.begin(), share.end(), 0.0), std::abs(signed_area(kArrow)), 1.5);
  EXPECT_EQ(share.size(), size_t(16 * 12));
  EXPECT_EQ(share[0], 1);            // (2, 2)
  EXPECT_EQ(share[11 * 16 + 8], 0);  // (10, 13), in the notch.
}

TEST(Region, CoverageOfPartsOfPixels) {
  const std::vector<Point> box{{0.5, 0.25}, {2.5, 0.25}, {2.5, 1}, {0.5, 1}};
  EXPECT_EQ(coverage(box, {0, 0, 3, 2}), (std::vector<float>{0.375f, 0.75f, 0.375f, 0, 0, 0}));
  EXPECT_EQ(coverage(box, {10, 10, 12, 11}), (std::vector<float>{0, 0}));
}

TEST(Region, WhatACameraCanSee) {
  const std::vector<Point> square{{0, 0}, {10, 0}, {10, 10}, {0, 10}};
  EXPECT_TRUE(plausible(Matrix3::Identity(), square));
  EXPECT_FALSE(plausible(scaling(-1, 1), square)) << "mirrored";
  EXPECT_FALSE(plausible(scaling(0.05, 0.05), square)) << "too small";
  EXPECT_FALSE(plausible(scaling(20, 20), square)) << "too large";
  Matrix3 behind = Matrix3::Identity();
  behind(2, 0) = -0.2;
  EXPECT_FALSE(plausible(behind, square)) << "a corner behind the camera";
  EXPECT_FALSE(plausible(Matrix3::Constant(NAN), square));
}

TEST(Region, AreaInside) {
  EXPECT_NEAR(area_inside(kArrow, {0, 0, 100, 100}), std::abs(signed_area(kArrow)), 1e-9);
  EXPECT_NEAR(area_inside(kArrow, {0, 0, 100, 6}), 16 * 4, 1e-9);
  EXPECT_EQ(area_inside(kArrow, {50, 50, 60, 60}), 0);
}

}  // namespace pw::region_test
