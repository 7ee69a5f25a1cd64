#include "track/plot.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

namespace pw::plot_test {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::Not;

constexpr double kGap = NAN;

TEST(Plot, TicksAreRoundFrames) {
  EXPECT_THAT((FrameAxis{1, 48}.ticks()), ElementsAre(5, 10, 15, 20, 25, 30, 35, 40, 45));
  EXPECT_THAT((FrameAxis{7, 7}.ticks()), ElementsAre(7));
  EXPECT_THAT((FrameAxis{-3, 2}.ticks()), ElementsAre(-3, -2, -1, 0, 1, 2));
  for (int frames : {2, 11, 12, 13, 97, 1000, 123456}) {
    const auto ticks = FrameAxis{1001, 1000 + frames}.ticks();
    EXPECT_GE(ticks.size(), 2u) << frames;
    EXPECT_LE(ticks.size(), 12u) << frames;
  }
}

TEST(Plot, FramesFillTheAxis) {
  const FrameAxis axis{10, 19};
  EXPECT_EQ(axis.left(10), FrameAxis::kLeft);
  EXPECT_EQ(axis.left(20), FrameAxis::kRight);
  EXPECT_DOUBLE_EQ(axis.centre(10), (axis.left(10) + axis.left(11)) / 2);
}

// Values at 0 and 4 with no least range: 5 % of room on both sides, 160 units between top and bottom.
TEST(Plot, ValuesLieWhereTheScaleSays) {
  const std::string svg = plot_svg({.title = "way, px", .lines = {{"line", "a", {0, 4, 2}}}}, {1, 3});
  const double up = 160 / 4.4;
  const auto at = [&](double v) { return 186 - (v + 0.2) * up; };
  const FrameAxis axis{1, 3};
  char d[200];
  std::snprintf(d, sizeof d, "d=\"M%.1f %.1fL%.1f %.1fL%.1f %.1f\"", axis.centre(1), at(0), axis.centre(2), at(4),
                axis.centre(3), at(2));
  EXPECT_THAT(svg, HasSubstr(d));
}

TEST(Plot, EqualDecadesAreEquallyFar) {
  const std::string svg =
      plot_svg({.title = "px", .decades = true, .lines = {{"line", "a", {0.01, 0.1, 1, 10}}}}, {1, 4});
  const FrameAxis axis{1, 4};
  char d[200];
  std::snprintf(d, sizeof d, "d=\"M%.1f 186.0L%.1f %.1fL%.1f %.1fL%.1f 26.0\"", axis.centre(1), axis.centre(2),
                186 - 160 / 3., axis.centre(3), 186 - 320 / 3., axis.centre(4));
  EXPECT_THAT(svg, HasSubstr(d));
}

TEST(Plot, WhatIsNotKnownLeavesAGap) {
  const std::string svg =
      plot_svg({.title = "px", .decades = true, .lines = {{"line", "a", {1, 2, kGap, 3, 0, 4, 5}}}}, {1, 7});
  const size_t d = svg.find("class=\"line\" d=\"");
  ASSERT_NE(d, std::string::npos);
  const std::string path = svg.substr(d, svg.find("/>", d) - d);
  EXPECT_EQ(std::count(path.begin(), path.end(), 'M'), 3);
  EXPECT_EQ(std::count(path.begin(), path.end(), 'L'), 2);
  EXPECT_THAT(path, HasSubstr("h0"));  // The 3 stands alone.
}

TEST(Plot, NothingKnownIsAnEmptyPlot) {
  for (bool decades : {false, true}) {
    const std::string svg = plot_svg(
        {.title = "a < b", .decades = decades, .lines = {{"line", "a", {kGap, -INFINITY}}, {"line", "b", {}}}}, {1, 2});
    EXPECT_THAT(svg, HasSubstr("<title>a &lt; b</title>"));
    EXPECT_THAT(svg, Not(HasSubstr("class=\"line\"")));
    EXPECT_THAT(svg, Not(HasSubstr("nan")));
    EXPECT_THAT(svg, Not(HasSubstr("inf")));
  }
}

TEST(Plot, EqualValuesDoNotFillTheHeight) {
  const std::string svg = plot_svg({.title = "px", .least = 1, .lines = {{"line", "a", {5, 5.001}}}}, {1, 2});
  EXPECT_THAT(svg, HasSubstr(" 106.1L"));  // The middle, within a pixel of it.
  EXPECT_THAT(plot_svg({.title = "px", .lines = {{"line", "a", {5, 5}}}}, {1, 2}), Not(HasSubstr("nan")));
}

}  // namespace pw::plot_test
