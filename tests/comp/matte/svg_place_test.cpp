#include "comp/matte/svg_place.h"

#include <gtest/gtest.h>

#include <cmath>

namespace pw::svg_place_test {

void expect_maps(std::string_view transform, const Point& from, const Point& to) {
  const auto m = parse_transform(transform);
  ASSERT_TRUE(m) << transform;
  EXPECT_LT((map(*m, from) - to).norm(), 1e-12) << transform << " gives " << map(*m, from).transpose();
}

TEST(SvgPlace, EveryTransform) {
  expect_maps("", {3, 4}, {3, 4});
  expect_maps("translate(5)", {3, 4}, {8, 4});
  expect_maps("translate(5,-1)", {3, 4}, {8, 3});
  expect_maps("scale(2)", {3, 4}, {6, 8});
  expect_maps("scale(2 .5)", {3, 4}, {6, 2});
  expect_maps("rotate(90)", {3, 4}, {-4, 3});
  expect_maps("rotate(90, 10, 10)", {13, 10}, {10, 13});
  expect_maps("skewX(45)", {3, 4}, {7, 4});
  expect_maps("skewY(45)", {3, 4}, {3, 7});
  expect_maps("matrix(1 2 3 4 5 6)", {10, 100}, {1 * 10 + 3 * 100 + 5, 2 * 10 + 4 * 100 + 6});
}

// SVG 1.1, 7.5: a list acts like nested groups, the last one first.
TEST(SvgPlace, ListsActFromTheRight) {
  expect_maps("translate(50 90) rotate(90) scale(2)", {1, 0}, {50, 92});
  expect_maps(" translate( 1 , 2 ),scale(3)\n", {1, 1}, {4, 5});
}

TEST(SvgPlace, BadTransformsAreNothing) {
  for (const char* bad : {"rotate", "rotate(", "rotate()", "rotate(1 2)", "translate(1 2 3)", "matrix(1 2 3)",
                          "scale(x)", "turn(3)", "scale(2", "scale 2", "matrix(1 2 3 4 5 6 7)", "5"})
    EXPECT_FALSE(parse_transform(bad)) << bad;
}

// CSS Values 3: 96 px to the inch.
TEST(SvgPlace, Lengths) {
  const std::pair<const char*, double> known[] = {{"5", 5},       {" 5px ", 5}, {"1in", 96}, {"2.54cm", 96},
                                                  {"25.4mm", 96}, {"72pt", 96}, {"6pc", 96}, {"101.6Q", 96},
                                                  {"-3PX", -3},   {"1e2", 100}};
  for (const auto& [text, px] : known) EXPECT_NEAR(parse_length(text).value_or(-1e9), px, 1e-12) << text;
  for (const char* bad : {"", "px", "5%", "2em", "1ex", "5 5", "nan", "5furlong"})
    EXPECT_FALSE(parse_length(bad)) << bad;
}

TEST(SvgPlace, ViewBoxes) {
  const auto b = parse_view_box(" 1,2 30 40 ");
  ASSERT_TRUE(b);
  EXPECT_EQ(b->x, 1);
  EXPECT_EQ(b->height, 40);
  for (const char* bad : {"", "1 2 3", "0 0 0 5", "0 0 5 -1", "0 0 5 5 5", "a b c d"})
    EXPECT_FALSE(parse_view_box(bad)) << bad;
}

// SVG 1.1, 7.8.
TEST(SvgPlace, FittingAsThePageSays) {
  const ViewBox box{10, 20, 100, 50};
  const auto to = [&](std::string_view rule, const Point& p) { return map(fitted(box, 200, 200, rule).value(), p); };
  EXPECT_EQ(to("", {10, 20}), Point(0, 50));
  EXPECT_EQ(to("xMidYMid meet", {110, 70}), Point(200, 150));
  EXPECT_EQ(to("xMinYMin", {10, 20}), Point(0, 0));
  EXPECT_EQ(to("xMaxYMax meet", {110, 70}), Point(200, 200));
  EXPECT_EQ(to("none", {110, 70}), Point(200, 200));
  EXPECT_EQ(to("none", {60, 20}), Point(100, 0));
  EXPECT_EQ(to("xMidYMid slice", {10, 20}), Point(-100, 0));
  for (const char* bad : {"xMid", "xMidYmid", "yMidXMid", "xMidYMid stretch", "xFooYMid", "none meet meet"})
    EXPECT_FALSE(fitted(box, 200, 200, bad)) << bad;
}

}  // namespace pw::svg_place_test
