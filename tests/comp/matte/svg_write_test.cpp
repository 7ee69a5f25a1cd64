#include "comp/matte/svg_write.h"

#include <gtest/gtest.h>

#include "comp/matte/svg_path.h"
#include "comp/matte/svg_read.h"

namespace pw::svg_write_test {

TEST(SvgWrite, WhatIsDrawnReadsBackByName) {
  Shape goose =
      *read_path("M 12.3456789 13 C 120 -34 122.1234567 120 59 71 S -56 122 12 13 Z M 30 20 L 90 40 L 31 62 Z");
  goose.contours.push_back(ellipse({70, 30}, 12.5, 8));
  goose.contours[2].path = 4;
  goose.contours[2].rule = FillRule::nonzero;
  const OutlineSheet sheet{.width = 160,
                           .height = 90,
                           .frame = 12,
                           .png = "not really a picture",
                           .outlines = {{"goose", goose}, {"tram & lamp <2>", {{ellipse({5, 5}, 3, 3)}}}, {"gone", {}}},
                           .regions = {{"wall", {{1.5, 2}, {100.123456789, 3}, {99, 80}, {2, 79}}}}};
  const std::string text = outline_sheet(sheet);
  const auto d = parse_svg(text, "sheet.svg");
  ASSERT_TRUE(d) << to_string(d.error());
  EXPECT_EQ(d->width, 160);
  EXPECT_EQ(d->height, 90);
  const auto p = pick(*d, "goose");
  ASSERT_TRUE(p) << to_string(p.error());
  ASSERT_EQ(p->keys.size(), 1u);
  const Shape& again = p->keys.at(12);
  ASSERT_EQ(again.contours.size(), goose.contours.size());
  EXPECT_EQ(again.contours[0].path, again.contours[1].path);
  EXPECT_NE(again.contours[0].path, again.contours[2].path);
  for (size_t k = 0; k < goose.contours.size(); ++k) {
    EXPECT_EQ(again.contours[k].rule, goose.contours[k].rule);
    ASSERT_EQ(again.contours[k].knots.size(), goose.contours[k].knots.size());
    for (size_t i = 0; i < goose.contours[k].knots.size(); ++i) {
      EXPECT_LT((again.contours[k].knots[i].at - goose.contours[k].knots[i].at).norm(), 1e-6);
      EXPECT_LT((again.contours[k].knots[i].in - goose.contours[k].knots[i].in).norm(), 1e-6);
      EXPECT_LT((again.contours[k].knots[i].out - goose.contours[k].knots[i].out).norm(), 1e-6);
    }
  }
  EXPECT_EQ(pick(*d, "tram & lamp <2>")->keys.at(12).contours.size(), 1u);
  EXPECT_TRUE(pick(*d, "gone")->keys.at(12).empty());
  const auto wall = pick_region(*d, "wall").value();
  ASSERT_EQ(wall.size(), 4u);
  for (int i = 0; i < 4; ++i) EXPECT_LT((wall[i] - sheet.regions[0].second[i]).norm(), 1e-6);
}

}  // namespace pw::svg_write_test
