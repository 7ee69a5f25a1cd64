#include "comp/matte/svg_read.h"

#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <fstream>

namespace pw::svg_read_test {

std::string svg(std::string_view inside, std::string_view attributes = "width=\"200\" height=\"100\"") {
  return "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" " +
         std::string(attributes) + ">\n" + std::string(inside) + "\n</svg>\n";
}

// All that is drawn.
Shape drawn(const std::string& text) {
  const auto d = parse_svg(text, "quay.svg");
  EXPECT_TRUE(d) << (d ? "" : to_string(d.error()));
  if (!d) return {};
  const auto p = pick(*d, "");
  EXPECT_TRUE(p) << (p ? "" : to_string(p.error()));
  return p && p->still ? *p->still : Shape();
}
double area(const Shape& s) {
  double a = 0;
  for (const Contour& c : s.contours) a += signed_area(c);
  return a;
}

TEST(SvgRead, EveryShape) {
  EXPECT_NEAR(area(drawn(svg("<path d='M0 0h10v10h-10z'/>"))), 100, 1e-9);
  EXPECT_NEAR(area(drawn(svg("<rect x='3' y='4' width='10' height='5'/>"))), 50, 1e-9);
  EXPECT_NEAR(area(drawn(svg("<rect width='20' height='10' rx='2'/>"))), 200 - (4 - M_PI) * 4, 3e-3);
  EXPECT_NEAR(area(drawn(svg("<rect width='20' height='10' ry='99'/>"))), M_PI * 50, 0.05);  // Held to half a side.
  EXPECT_NEAR(area(drawn(svg("<circle cx='50' cy='50' r='10'/>"))), M_PI * 100, 3e-3);
  EXPECT_NEAR(area(drawn(svg("<ellipse cx='50' cy='50' rx='10' ry='20'/>"))), M_PI * 200, 6e-3);
  EXPECT_NEAR(area(drawn(svg("<polygon points='0,0 10,0 10,10 0,10'/>"))), 100, 1e-9);
  EXPECT_NEAR(area(drawn(svg("<polyline points='0 0,10 0 , 10 10' fill='none' stroke='red'/>"))), 50, 1e-9);
  EXPECT_NEAR(area(drawn(svg("<svg:circle xmlns:svg='http://www.w3.org/2000/svg' r='1in'/>"))), M_PI * 96 * 96, 0.3);
  for (const char* nothing :
       {"<rect/>", "<rect width='3'/>", "<circle r='0'/>", "<polygon points=''/>", "<path/>", "<path d=''/>",
        "<line x1='3' x2='9'/>", "<other:rect width='9' height='9'/>", "<rect width='-3' height='3'/>"})
    EXPECT_TRUE(drawn(svg(nothing)).empty()) << nothing;
}

TEST(SvgRead, RoundedCornersRunClockwiseOnTheRect) {
  const Shape s = drawn(svg("<rect x='10' y='20' width='30' height='16' rx='5' ry='3'/>"));
  EXPECT_EQ(bounds(s), (Rect{10, 20, 40, 36}));
  EXPECT_EQ(s.contours[0].knots.size(), 12u);  // Two pieces to a corner.
}

TEST(SvgRead, TransformsOfTheElementAndAllAboveIt) {
  const Shape s =
      drawn(svg("<g transform='translate(100 50)'><g transform='scale(2)'>"
                "<rect width='10' height='10' transform='rotate(90)'/></g></g>"));
  EXPECT_EQ(bounds(s), (Rect{80, 50, 100, 70}));
}

TEST(SvgRead, PageSizes) {
  const auto right_edge = [](std::string_view attributes) {
    return drawn(svg("<rect width='50' height='10'/>", attributes)).contours.at(0).knots[1].at.x();
  };
  EXPECT_NEAR(right_edge("width='200' height='100'"), 50, 1e-5);
  EXPECT_NEAR(right_edge("width='200px' height='100px' viewBox='0 0 100 50'"), 100, 1e-5);
  EXPECT_NEAR(right_edge("width='52.9166667mm' height='26.45833mm' viewBox='0 0 200 100'"), 50, 1e-5);
  EXPECT_NEAR(right_edge("viewBox='0 0 100 50'"), 50, 1e-5);
  EXPECT_NEAR(right_edge("width='100%' height='100%' viewBox='0 0 100 50'"), 50, 1e-5);
  EXPECT_NEAR(right_edge("width='200' viewBox='0 0 100 50'"), 100, 1e-5);
  EXPECT_NEAR(right_edge("height='200' viewBox='0 0 100 50'"), 200, 1e-5);
  EXPECT_NEAR(right_edge("width='400' height='100' viewBox='0 0 100 50' preserveAspectRatio='none'"), 200, 1e-5);
  const auto d = parse_svg(svg("", "width='52.9166667mm' height='1in'"), "");
  EXPECT_NEAR(d->width, 200, 1e-6);
  EXPECT_NEAR(d->height, 96, 1e-12);
  EXPECT_EQ(parse_svg(svg("", ""), "")->width, 0);
}

TEST(SvgRead, FillRulesAndPaths) {
  const Shape s = drawn(svg(
      "<g fill-rule='evenodd'><path d='M0 0h9v9z M1 1h2v2z'/><rect width='4' height='4' style='fill-rule:nonzero'/></g>"
      "<rect width='4' height='4'/>"));
  ASSERT_EQ(s.contours.size(), 4u);
  EXPECT_EQ(s.contours[0].path, s.contours[1].path);
  EXPECT_NE(s.contours[1].path, s.contours[2].path);
  EXPECT_EQ(s.contours[0].rule, FillRule::even_odd);
  EXPECT_EQ(s.contours[2].rule, FillRule::nonzero);
  EXPECT_EQ(s.contours[3].rule, FillRule::nonzero);
}

TEST(SvgRead, WhatIsNotAnOutlineIsPassedOver) {
  EXPECT_EQ(
      drawn(svg("<defs><path d='M0 0h9v9z'/><clipPath id='c'><rect width='9' height='9'/></clipPath></defs>"
                "<symbol><rect width='9' height='9'/></symbol><marker><rect width='9' height='9'/></marker>"
                "<style>.a{fill:url(#g)}</style><metadata><rdf:RDF rdf:about='http://example.org/'/></metadata>"
                "<image width='9' height='9' xlink:href='data:image/png;base64,AAAA'/><image href='frame.0012.png'/>"
                "<image href='file:///home/me/frame.png'/><image href='C:\\frames\\f.png'/>"
                "<linearGradient id='g' xlink:href='#h'/><rect width='5' height='4' fill='url(#g)'/>"))
          .contours.size(),
      1u);
}

TEST(SvgRead, HiddenThingsAreLeftOut) {
  EXPECT_EQ(
      drawn(
          svg("<rect width='5' height='4' display='none'/><g style='opacity:1; display : none'><rect width='5' "
              "height='4'/></g>"
              "<g visibility='hidden'><rect width='5' height='4'/><rect width='7' height='4' visibility='visible'/></g>"
              "<g display='none'><rect width='6' height='4' style='display:inline'/></g>"))
          .contours.size(),
      1u);
}

// Each is refused, as a whole, in these words.
TEST(SvgRead, RefusedDrawings) {
  const auto says = [](const std::string& text) {
    const auto d = parse_svg(text, "quay.svg");
    return d ? "accepted" : to_string(d.error());
  };
  const std::string script = "; remove it; save the drawing as plain SVG\n";
  const std::string link = "; remove the link, or put what it refers to into the drawing itself\n";
  EXPECT_EQ(says(svg("<g>\n<script>alert(1)</script></g>")), "quay.svg:3: the drawing holds a script" + script);
  EXPECT_EQ(says(svg("<x:SCRIPT/>")), "quay.svg:2: the drawing holds a script" + script);
  EXPECT_EQ(says(svg("\n\n<rect onClick='go()'/>")), "quay.svg:4: <rect> holds a script (onClick)" + script);
  EXPECT_EQ(says(svg("<a xlink:href='https://example.org/'><rect/></a>")),
            "quay.svg:2: <a> links to https://example.org/, outside the file" + link);
  EXPECT_EQ(says(svg("<a href='javascript:go()'/>")),
            "quay.svg:2: <a> links to javascript:go(), outside the file" + link);
  EXPECT_EQ(says(svg("<use href='other.svg#goose'/>")),
            "quay.svg:2: <use> links to other.svg#goose, outside the file" + link);
  EXPECT_EQ(says(svg("<image href='http://example.org/a.png'/>")),
            "quay.svg:2: <image> links to http://example.org/a.png, outside the file" + link);
  EXPECT_EQ(says(svg("<image href='//example.org/a.png'/>")),
            "quay.svg:2: <image> links to //example.org/a.png, outside the file" + link);
  EXPECT_EQ(says(svg("<rect style='fill:URL( \"paint.svg#a\")'/>")),
            "quay.svg:2: style of <rect> refers to something outside the file" + link);
  EXPECT_EQ(says(svg("<style>@import 'a.css';</style>")),
            "quay.svg:2: the drawing's style refers to something outside the file" + link);
  EXPECT_EQ(says("<?xml-stylesheet href='a.css'?>" + svg("")),
            "quay.svg:1: the drawing takes its style from another file" + link);
  EXPECT_EQ(says("<!DOCTYPE svg [\n<!ENTITY a \"b\">]>" + svg("")),
            "quay.svg:1: the drawing defines entities of its own; save it as plain SVG, without a DOCTYPE\n");
  EXPECT_EQ(says("<svg><rect></svg>"),
            "quay.svg:1: is not well-formed XML (Start-end tags mismatch); save it again as a plain SVG drawing\n");
  EXPECT_EQ(says(""),
            "quay.svg:1: is not well-formed XML (No document element found); save it again as a plain SVG drawing\n");
  EXPECT_EQ(says("<html/>"), "quay.svg:1: is not an SVG drawing; it holds <html>; save it as a plain SVG drawing\n");
  EXPECT_EQ(says("\x1f\x8b\x08 abc"), "quay.svg:1: is a compressed drawing; save it as plain SVG\n");
  EXPECT_EQ(says(std::string("\xff\xfe<\0s\0", 6)), "quay.svg:1: is not in UTF-8; save it in UTF-8\n");
  EXPECT_EQ(says(svg("", "width='3em'")),
            "quay.svg:1: the drawing's width=\"3em\" is no size; give the plate's size in pixels\n");
  EXPECT_EQ(says(svg("", "height='-4'")),
            "quay.svg:1: the drawing's height=\"-4\" is no size; give the plate's size in pixels\n");
  EXPECT_EQ(says(svg("", "viewBox='0 0 5'")),
            "quay.svg:1: viewBox=\"0 0 5\" is not four numbers of which the last two are above 0\n");
  EXPECT_EQ(says(svg("", "viewBox='0 0 5 5' preserveAspectRatio='big'")),
            "quay.svg:1: preserveAspectRatio=\"big\" cannot be read\n");
  EXPECT_EQ(says(svg("<g transform='spin(3)'/>")),
            "quay.svg:2: transform=\"spin(3)\" of <g> cannot be read; apply the transform to the path's points and "
            "save again\n");
  EXPECT_EQ(says(svg("<rect width='50%' height='3'/>")),
            "quay.svg:2: width=\"50%\" of <rect> is not a length this reads; give it in px, in, cm, mm, pt or pc\n");
  EXPECT_EQ(says(svg("<path d='M 0 0 L 5'/>")),
            "quay.svg:2: path data: a number is missing at character 10 (its end); draw the path again, or save it "
            "with another editor\n");
  EXPECT_EQ(says(svg("<polygon points='1 2 3'/>")),
            "quay.svg:2: points of <polygon> cannot be read at character 6; give pairs of numbers\n");
  EXPECT_EQ(says(svg("<circle r='1e300'/>")),
            "quay.svg:2: <circle> reaches more than a million pixels away; remove it, or check its transform\n");
  EXPECT_EQ(says(svg("<g transform='scale(1e200)'><g transform='scale(1e200)'><rect width='1' height='1'/></g></g>")),
            "quay.svg:2: <rect> reaches more than a million pixels away; remove it, or check its transform\n");
}

TEST(SvgRead, APlainDoctypeIsHarmless) {
  const auto d = parse_svg(
      "<?xml version='1.0'?>\n<!DOCTYPE svg PUBLIC '-//W3C//DTD SVG 1.1//EN' "
      "'http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd'>\n" +
          svg("<rect width='5' height='5'/>"),
      "");
  EXPECT_TRUE(d) << to_string(d.error());
}

TEST(SvgRead, AMillionPointsAreRefused) {
  std::string points;
  for (int i = 0; i < 1'000'000; ++i) points += std::to_string(i % 100) + " 7,";
  const auto says = [](const std::string& text) { return to_string(parse_svg(text, "quay.svg").error()); };
  EXPECT_EQ(says(svg("<polygon points='" + points + "'/>")),
            "quay.svg:2: the drawing has more than 100000 knots; simplify it; an outline needs a few dozen\n");
  EXPECT_EQ(says(svg("<path d='M" + points + "'/>")),
            "quay.svg:2: the drawing has more than 100000 knots; simplify it; an outline needs a few dozen\n");
  std::string many;  // Each harmless.
  for (int i = 0; i < 20'000; ++i) many += "<circle r='5'/>";
  EXPECT_EQ(says(svg(many)),
            "quay.svg:2: the drawing has more than 100000 knots; simplify it; an outline needs a few dozen\n");
  std::string marks;
  for (int i = 0; i < 2'100'000; ++i) marks += "<g/>";
  EXPECT_EQ(
      says(svg(marks)),
      "quay.svg:1: holds more than 2000000 elements and attributes; simplify it; an outline needs a few dozen knots\n");
  std::string deep;
  for (int i = 0; i < 300; ++i) deep += "<g>";
  for (int i = 0; i < 300; ++i) deep += "</g>";
  EXPECT_EQ(says(svg(deep)), "quay.svg:2: groups lie more than 200 deep; ungroup the drawing\n");
}

TEST(SvgRead, NotMoreThanTenFaultsAreListed) {
  std::string bad;
  for (int i = 0; i < 50; ++i) bad += "<path d='x'/>";
  EXPECT_EQ(parse_svg(svg(bad), "").error().size(), 10u);
}

TEST(SvgRead, Files) {
  namespace fs = std::filesystem;
  const fs::path dir = fs::temp_directory_path() / "platewright_svg_read_test";
  fs::create_directories(dir);
  const std::string file = (dir / "quay.svg").string();
  std::ofstream(file) << svg("<rect width='5' height='5'/>");
  EXPECT_TRUE(load_svg(file));
  EXPECT_EQ(to_string(load_svg((dir / "none.svg").string()).error()),
            (dir / "none.svg").string() + ": the drawing cannot be read: No such file or directory\n");
  std::ofstream(file, std::ios::trunc).close();
  fs::resize_file(file, (64 << 20) + 1);  // Sparse.
  EXPECT_EQ(to_string(load_svg(file).error()),
            file + ": the drawing is larger than 64 MB; leave out or shrink the pictures in it\n");
  fs::remove_all(dir);
}

}  // namespace pw::svg_read_test
