#include <gtest/gtest.h>

#include "comp/matte/svg_read.h"

namespace pw::svg_pick_test {

// A square of that many pixels.
std::string box(int size, std::string_view attributes = "") {
  return "<rect width='" + std::to_string(size) + "' height='" + std::to_string(size) + "' " + std::string(attributes) +
         "/>";
}
SvgDrawing drawing(std::string_view inside) {
  return parse_svg("<svg width='96' height='54'>\n" + std::string(inside) + "\n</svg>", "quay.svg").value();
}
// Widths of what is picked, by frame; frame -1: on none.
std::map<int, std::vector<int>> sizes(const SvgDrawing& d, std::string_view name) {
  const auto p = pick(d, name);
  EXPECT_TRUE(p) << (p ? "" : to_string(p.error()));
  std::map<int, std::vector<int>> r;
  const auto add = [&](int frame, const Shape& s) {
    r[frame];
    for (const Contour& c : s.contours) r[frame].push_back(bounds({{c}}).x1);
  };
  if (p && p->still) add(-1, *p->still);
  if (p)
    for (const auto& [frame, s] : p->keys) add(frame, s);
  return r;
}
using Sizes = std::map<int, std::vector<int>>;

TEST(SvgPick, SplitsFrames) {
  EXPECT_EQ(split_frame("goose-12"), (std::pair<std::string_view, std::optional<int>>("goose", 12)));
  EXPECT_EQ(split_frame("wild-goose-0007"), (std::pair<std::string_view, std::optional<int>>("wild-goose", 7)));
  for (const char* none : {"goose", "goose-", "-12", "goose-1b", "goose-+1", "goose--", "goose-12345678901"})
    EXPECT_EQ(split_frame(none).second, std::nullopt) << none;
}

TEST(SvgPick, ByIdLabelOrTitle) {
  const SvgDrawing d =
      drawing("<title>page</title>" + box(1) + box(2, "id='goose'") + "<g aria-label='tram'>" + box(3) + box(4) +
              "</g>" + "<g><title> lamp post </title>" + box(5) + "</g><g id='all'>" + box(6, "id='hall'") + "</g>");
  EXPECT_EQ(sizes(d, "goose"), (Sizes{{-1, {2}}}));
  EXPECT_EQ(sizes(d, "tram"), (Sizes{{-1, {3, 4}}}));
  EXPECT_EQ(sizes(d, "lamp post"), (Sizes{{-1, {5}}}));
  EXPECT_EQ(sizes(d, "all"), (Sizes{{-1, {6}}}));
  EXPECT_EQ(sizes(d, ""), (Sizes{{-1, {1, 2, 3, 4, 5, 6}}}));
}

TEST(SvgPick, ANameThatIsNotThere) {
  const SvgDrawing d = drawing(box(2, "id='goose'") + "<g id='tram'>" + box(3) + "</g><g id='empty'/>");
  EXPECT_EQ(to_string(pick(d, "gose").error()),
            "quay.svg: no shape is named gose; it has goose, tram; name the path or its group, as id or title\n");
  EXPECT_EQ(
      to_string(pick(drawing(box(2)), "goose").error()),
      "quay.svg: no shape is named goose; nothing in it has a name; name the path or its group, as id or title\n");
  std::string many;
  for (char c = 'a'; c < 'm'; ++c) many += box(1, "id='" + std::string(1, c) + "'");
  EXPECT_EQ(to_string(pick(drawing(many), "goose").error()),
            "quay.svg: no shape is named goose; it has a, b, c, d, e, f, g, h and 4 more; name the path or its group, "
            "as id or title\n");
  EXPECT_EQ(to_string(pick(d, "page").error()).substr(0, 40), "quay.svg: no shape is named page; it has");
}

TEST(SvgPick, FramesByGroup) {
  const SvgDrawing d =
      drawing("<g id='frame-1'>" + box(1, "aria-label='goose'") + box(2, "aria-label='tram'") +
              "</g><g id='frame-0012'><g><title>goose</title>" + box(3) + "</g></g><g id='frame-30'/>" + box(9));
  EXPECT_EQ(sizes(d, "goose"), (Sizes{{1, {1}}, {12, {3}}}));
  EXPECT_EQ(sizes(d, "tram"), (Sizes{{1, {2}}}));
  EXPECT_EQ(sizes(d, ""), (Sizes{{1, {1, 2}}, {12, {3}}, {30, {}}}));
}

TEST(SvgPick, FramesByName) {
  const SvgDrawing d = drawing("<g id='goose'>" + box(1, "id='goose-1'") + box(2, "id='goose-12'") +
                               "<g id='goose-30'/></g>" + box(4, "id='goose-12-wing'"));
  EXPECT_EQ(sizes(d, "goose"), (Sizes{{1, {1}}, {12, {2}}, {30, {}}}));
  EXPECT_EQ(sizes(d, "goose-12"), (Sizes{{-1, {2}}}));  // The name as it stands.
}

TEST(SvgPick, NamedTwiceCountsOnce) {
  const SvgDrawing d =
      drawing("<g id='frame-5'><g id='goose-5'><title>goose</title>" + box(7, "aria-label='goose'") + "</g></g>");
  EXPECT_EQ(sizes(d, "goose"), (Sizes{{5, {7}}}));
}

TEST(SvgPick, AskedForByNameHiddenThingsCount) {
  const SvgDrawing d =
      drawing("<g display='none' id='frame-3'>" + box(3, "id='goose-3' visibility='hidden'") +
              box(4, "display='none'") + box(5) + "</g><g id='frame-4'>" + box(6, "id='goose-4'") + "</g>");
  EXPECT_EQ(sizes(d, "goose"), (Sizes{{3, {3}}, {4, {6}}}));
  EXPECT_EQ(sizes(d, ""), (Sizes{{3, {5}}, {4, {6}}}));
}

TEST(SvgPick, ThingsThatCannotBeReadMatterOnlyWhereTheyArePicked) {
  const SvgDrawing d =
      drawing(box(1, "id='goose'") + "<g id='tram'>\n<use href='#goose'/></g><g id='hall'><text>quay</text>" +
              box(2, "clip-path='url(#c)'") + "</g><svg id='inner'>" + box(3) + "</svg>");
  EXPECT_EQ(sizes(d, "goose"), (Sizes{{-1, {1}}}));
  EXPECT_EQ(
      to_string(pick(d, "tram").error()),
      "quay.svg:3: the outline holds a <use>, which repeats another shape; turn the copy into a path of its own\n");
  EXPECT_EQ(to_string(pick(d, "inner").error()),
            "quay.svg:3: the outline holds a drawing within the drawing; ungroup it\n");
  const auto hall = pick(d, "hall");
  ASSERT_TRUE(hall);
  EXPECT_EQ(to_string(hall->warnings),
            "quay.svg:3: warning: <text> is passed over; turn it into paths if it is part of an outline\n"
            "quay.svg:3: warning: clip-path of <rect> is passed over; the whole outline counts\n");
  EXPECT_FALSE(pick(d, ""));
}

TEST(SvgPick, Regions) {
  const SvgDrawing d = drawing(
      "<polygon id='wall' points='1,2 30,4 28,40 2,38'/><g id='none'/><path id='curve-3' d='M0 0 C 1 1 2 2 9 0 V 9 "
      "Z'/>");
  EXPECT_EQ(pick_region(d, "wall").value(), (std::vector<Point>{{1, 2}, {30, 4}, {28, 40}, {2, 38}}));
  EXPECT_EQ(pick_region(d, "curve").value(), (std::vector<Point>{{0, 0}, {9, 0}, {9, 9}}));
  EXPECT_EQ(to_string(pick_region(d, "none").error()),
            "quay.svg: nothing is drawn under the name none; draw the region's outline\n");
  EXPECT_EQ(to_string(pick_region(drawing(""), "").error()),
            "quay.svg: nothing is drawn in it; draw the region's outline\n");
  EXPECT_FALSE(pick_region(d, "floor"));
}

TEST(SvgPick, PlateAndDrawing) {
  const SvgDrawing d = drawing("");
  EXPECT_EQ(plate_from_drawing(d, 96, 54).value(), Matrix3(Matrix3::Identity()));
  EXPECT_EQ(plate_from_drawing(d, 192, 108).value(), scaling(2, 2));
  EXPECT_EQ(plate_from_drawing(SvgDrawing{}, 192, 108).value(), Matrix3(Matrix3::Identity()));
  EXPECT_EQ(to_string(plate_from_drawing(d, 100, 100).error()),
            "quay.svg: the drawing is 96 x 54 pixels, the plate 100 x 100; draw over a frame of this plate "
            "(platewright probe --svg writes one)\n");
}

}  // namespace pw::svg_pick_test
