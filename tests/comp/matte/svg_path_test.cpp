#include "comp/matte/svg_path.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>

#include "comp/matte/svg_scan.h"

namespace pw::svg_path_test {

std::vector<Contour> path(std::string_view d) {
  const auto s = read_path(d);
  EXPECT_TRUE(s) << d << ": " << (s ? "" : to_string(s.error()));
  return s ? s->contours : std::vector<Contour>();
}
std::string fault(std::string_view d) { return parse_path(d, 1000).fault; }

void expect_corners(std::string_view d, const std::vector<Point>& corners) {
  const auto c = path(d);
  ASSERT_EQ(c.size(), 1u) << d;
  ASSERT_EQ(c[0].knots.size(), corners.size()) << d;
  for (size_t i = 0; i < corners.size(); ++i) EXPECT_LT((c[0].knots[i].at - corners[i]).norm(), 1e-12) << d << " " << i;
}

TEST(SvgScan, Numbers) {
  const auto all = [](std::string_view text) {
    std::vector<double> v;
    SvgScan scan(text);
    for (scan.skip_space(); !scan.done(); scan.skip_separator()) {
      const auto n = scan.take_number();
      if (!n) break;
      v.push_back(*n);
    }
    return v;
  };
  EXPECT_EQ(all("1.5.5-3+4e1 , .25 1e-2"), (std::vector<double>{1.5, .5, -3, 40, .25, .01}));
  EXPECT_EQ(all("7. 8"), (std::vector<double>{7, 8}));
  for (const char* bad : {"", "-", "+", ".", "e5", "inf", "nan", "-inf", "1e999", "+-1", "--1", "0x10"})
    EXPECT_LE(all(bad).size(), std::string_view(bad) == "0x10" ? 1u : 0u) << bad;
}

TEST(SvgPath, EveryStraightCommand) {
  const std::vector<Point> square{{10, 20}, {30, 20}, {30, 50}, {10, 50}};
  for (const char* d :
       {"M10,20L30,20L30,50L10,50Z", "M 10 20 30 20 30 50 10 50 z", "m10 20 20 0 0 30-20 0z", "M10 20H30V50H10",
        "m10 20h20v30h-20v-30z", "M1e1,2E1 H 30 V50 h-20 Z", "  M10 20l20 0\n\tl0,30 , -20 0 "})
    expect_corners(d, square);
}

TEST(SvgPath, RelativeMoveAfterClosingStartsFromTheStart) {
  const auto c = path("M10 10h5v5z m20 0h5v5z l-1 0v-1z");
  ASSERT_EQ(c.size(), 3u);
  EXPECT_EQ(c[1].knots[0].at, Point(30, 10));
  EXPECT_EQ(c[2].knots[0].at, Point(30, 10));  // Without a move: from where the last one began.
  EXPECT_EQ(c[2].knots[1].at, Point(29, 10));
}

TEST(SvgPath, CubicsAndTheirReflections) {
  const auto full = path("M0 0 C 10 0 20 10 20 20 C 20 30 10 40 0 40 Z"),
             brief = path("m0 0c10 0 20 10 20 20s-10 20-20 20z");
  ASSERT_EQ(full[0].knots.size(), 3u);
  for (int i = 0; i < 3; ++i) {
    EXPECT_LT((full[0].knots[i].at - brief[0].knots[i].at).norm(), 1e-12);
    EXPECT_LT((full[0].knots[i].in - brief[0].knots[i].in).norm(), 1e-12);
    EXPECT_LT((full[0].knots[i].out - brief[0].knots[i].out).norm(), 1e-12);
  }
  // Without a cubic before it, S starts with its handle on the knot.
  EXPECT_EQ(path("M0 0 L 5 5 S 9 9 10 0 Z")[0].knots[1].out, Point(5, 5));
}

TEST(SvgPath, QuadraticsAreExact) {
  const auto c = path("M0 0 Q 10 20 20 0 T 40 0 Z");
  for (double t : {0.0, 0.3, 0.8}) {
    const Point first(2 * (1 - t) * t * 10 + t * t * 20, 2 * (1 - t) * t * 20);
    EXPECT_LT((at(segment(c[0], 0), t) - first).norm(), 1e-12);
    const Point second(20 + first.x(), -first.y());
    EXPECT_LT((at(segment(c[0], 1), t) - second).norm(), 1e-12);
  }
  EXPECT_LT((path("M0 0 L 5 5 T 9 9 8 1 Z")[0].knots[2].at - Point(9, 9)).norm(), 1e-12);
}

// SVG 1.1, 8.3.8: of the four arcs between two points on an ellipse, the flags choose one.
TEST(SvgPath, ArcsLieOnTheirEllipse) {
  for (const char* flags : {"0 0", "0 1", "1 0", "1 1"}) {
    const auto c = path(std::string("M 125 75 A 100 50 0 ") + flags + " 225 125 Z");
    const bool large = flags[0] == '1', sweep = flags[2] == '1';
    const Point centre = large == sweep ? Point(225, 75) : Point(125, 125);
    double turned = 0;
    for (size_t i = 0; i + 1 < c[0].knots.size(); ++i)
      for (double t : {0.0, 0.5}) {
        const Point p = at(segment(c[0], i), t) - centre, q = at(segment(c[0], i), t + 0.5) - centre;
        EXPECT_NEAR(std::hypot(p.x() / 100, p.y() / 50), 1, 5e-6) << flags;
        turned += std::atan2(p.x() * q.y() - p.y() * q.x(), p.x() * q.x() / 4 + p.y() * q.y() * 4) > 0 ? 1 : -1;
      }
    EXPECT_EQ(turned > 0, sweep) << flags;
    EXPECT_EQ(c[0].knots.size(), large ? 7u : 3u) << flags;  // 270 or 90 degrees, in pieces of 45.
  }
}

TEST(SvgPath, ArcsTurnedTooSmallAndFlat) {
  // Turned by 30 degrees: the ends of the long axis, half an ellipse.
  const double c30 = std::sqrt(3) / 2;
  const auto c = path(fmt::format("M {} 80 A 40 10 30 0 1 {} 120 Z", 100 - 40 * c30, 100 + 40 * c30));
  for (size_t i = 0; i + 1 < c[0].knots.size(); ++i) {
    const Point d = at(segment(c[0], i), 0.5) - Point(100, 100);
    EXPECT_NEAR(std::hypot((d.x() * c30 + d.y() / 2) / 40, (-d.x() / 2 + d.y() * c30) / 10), 1, 1e-5);
  }
  // Too small a radius grows until it reaches (8.2.4 of the appendix on arcs); a radius of 0 is a straight line.
  EXPECT_NEAR(std::abs(signed_area(path("M0 0 A 1 1 0 0 1 20 0 Z")[0])), M_PI * 50, 1e-3);
  expect_corners("M0 0 A 0 5 0 0 1 20 0 L 20 9 Z", {{0, 0}, {20, 0}, {20, 9}});
  expect_corners("M0 0 A 5 5 0 0 1 0 0 L 20 9 L 0 9 Z", {{0, 0}, {20, 9}, {0, 9}});
}

TEST(SvgPath, ArcFlagsNeedNoSpaces) {
  const auto spaced = path("M0 0 a 25 25 -30 0 1 50 -25 z"), tight = path("M0 0a25,25-30 0150-25z");
  ASSERT_EQ(spaced[0].knots.size(), tight[0].knots.size());
  for (size_t i = 0; i < spaced[0].knots.size(); ++i)
    EXPECT_LT((spaced[0].knots[i].at - tight[0].knots[i].at).norm(), 1e-12);
  EXPECT_EQ(path("M0 0a9 9 0 1010-5z")[0].knots.back().at, Point(10, -5));
}

TEST(SvgPath, AClosingSegmentOfNoLengthIsNoKnot) {
  expect_corners("M 0 0 H 10 V 10 H 0 V 0 Z", {{0, 0}, {10, 0}, {10, 10}, {0, 10}});
  expect_corners("M 0 0 H 10 V 10 H 0 V 0.0004", {{0, 0}, {10, 0}, {10, 10}, {0, 10}});
}

TEST(SvgPath, NothingDrawnIsNothing) {
  for (const char* d : {"", "  ", "M 3 4", "M 3 4 Z", "M 3 4 L 3 4 Z"}) EXPECT_TRUE(path(d).empty()) << d;
}

TEST(SvgPath, FaultsSayWhere) {
  EXPECT_EQ(fault("L 1 2"), "path data must begin with M at character 1 ('L 1 2')");
  EXPECT_EQ(fault("5 5"), "a command is missing at character 1 ('5 5')");
  EXPECT_EQ(fault("M 1 2 L 3"), "a number is missing at character 10 (its end)");
  EXPECT_EQ(fault("M 1 2 X 3"), "'X' is no path command at character 9 ('3')");
  EXPECT_EQ(fault("M 1 2 L nan 3"), "a number is missing at character 9 ('nan 3')");
  EXPECT_EQ(fault("M 1 2 Z 3 4"), "a command is missing at character 9 ('3 4')");
  EXPECT_EQ(fault("M 1 2 A 1 1 0 2 1 5 5"), "a flag of the arc must be 0 or 1 at character 15 ('2 1 5 5')");
  EXPECT_EQ(fault("M 1e400 2"), "a number is missing at character 3 ('1e400 2')");
  EXPECT_EQ(fault("M 0 0 \x1b[31m"), "a number is missing at character 7 ('?[31m')");
  std::string many = "M0 0";
  for (int i = 0; i < 1100; ++i) many += " 1 " + std::to_string(i);
  EXPECT_TRUE(fault(many).starts_with("too many knots at character ")) << fault(many);
  EXPECT_EQ(to_string(read_path("M 1").error()),
            "a number is missing at character 4 (its end); give SVG path data in plate pixels, such as 'M 10 10 H 90 V "
            "60 Z'\n");
}

TEST(SvgPath, FarAwayIsRefused) {
  EXPECT_EQ(to_string(read_path("M 0 0 H 2e6 V 9 Z").error()),
            "the path reaches more than a million pixels away; give positions in plate pixels\n");
  EXPECT_FALSE(read_path("M 1e308 0 h 1e308 v 1e308 z"));
}

TEST(SvgPath, WritingAndReadingGivesTheSame) {
  const auto drawn =
      path("M 12.345678 13 C 120 -34.000001 122 120 59 71 S -56 122 12 13 Z M 30 20 L 90.5 40 A 7 9 20 0 1 31 62 Z");
  const auto again = path(to_path(drawn));
  ASSERT_EQ(again.size(), 2u);
  for (size_t k = 0; k < 2; ++k) {
    ASSERT_EQ(again[k].knots.size(), drawn[k].knots.size());
    for (size_t i = 0; i < drawn[k].knots.size(); ++i) {
      EXPECT_LT((again[k].knots[i].at - drawn[k].knots[i].at).norm(), 1e-6);
      EXPECT_LT((again[k].knots[i].in - drawn[k].knots[i].in).norm(), 1e-6);
      EXPECT_LT((again[k].knots[i].out - drawn[k].knots[i].out).norm(), 1e-6);
    }
  }
  EXPECT_EQ(to_path(path("M 0 0 H 3 V 3 Z")), "M 0,0 C 1,0 2,0 3,0 C 3,1 3,2 3,3 C 2,2 1,1 0,0 Z");
}

}  // namespace pw::svg_path_test
