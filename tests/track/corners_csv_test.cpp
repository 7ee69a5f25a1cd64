#include <gtest/gtest.h>

#include "track/track_file.h"

namespace pw::corners_csv_test {

TEST(CornersCsv, RoundTrip) {
  Motion m{640, 480, 2, {{10, 20}, {210, 25}, {205, 180}, {15, 170}}, {}};
  for (int f = 1; f <= 4; ++f) {
    Pose p{f};
    if (f != 2) p.frame_from_ref << 1, 0.01 * f, f, 0, 1 + 0.02 * f, -f, 1e-4, 0, 1;
    m.poses.push_back(p);
  }
  m.poses[3].status = TrackStatus::lost;
  m.poses[2].status = TrackStatus::weak;
  const std::string text = corners_csv(m);
  EXPECT_EQ(text.substr(0, text.find('\n')), "frame,x0,y0,x1,y1,x2,y2,x3,y3,status");
  const auto r = parse_corners_csv(text, "c.csv", 640, 480, 2);
  ASSERT_TRUE(r) << to_string(r.error());
  EXPECT_EQ(r->region, m.region);
  ASSERT_EQ(r->poses.size(), 4u);
  EXPECT_EQ(r->poses[3].status, TrackStatus::lost);
  EXPECT_EQ(r->poses[2].status, TrackStatus::weak);
  for (int i = 0; i < 3; ++i)
    for (const Point& c : m.region)
      EXPECT_LT((map(r->poses[i].frame_from_ref, c) - map(m.poses[i].frame_from_ref, c)).norm(), 1e-9);
}

std::string problem(std::string_view text, int reference = 1) {
  const auto r = parse_corners_csv(text, "c.csv", 640, 480, reference);
  return r ? "read" : to_string(r.error()[0]);
}

TEST(CornersCsv, WithoutHeaderOrStatusAndInAnyOrder) {
  EXPECT_EQ(problem("2, 1,0, 9,0, 9,9, 0,9\r\n\n1,0,0,9,0,9,9,0,9\n"), "read");
}

TEST(CornersCsv, Problems) {
  EXPECT_EQ(problem("1,0,0,9,0,9,9\n"), "c.csv:1: the region has 3 corners; a plane needs 4 or more");
  EXPECT_EQ(problem("1,0,0,9,0,9,9,0,9\n1,0,0,9,0,9,9,0,9\n"), "c.csv:2:1: frame 1 is given twice");
  EXPECT_EQ(problem("one,0,0\n"), "c.csv:1:1: 'one' is no frame number");
  EXPECT_EQ(problem("1,0,0,9,zero,9,9,0,9\n"), "c.csv:1:7: corner 1 is not two numbers");
  EXPECT_EQ(problem("1,0,0,9,0,9,9,0,9\n2,0,0,1,1,2,2,3,3\n"), "c.csv:2: the corners of frame 2 lie on a line");
  EXPECT_EQ(problem("1,0,0,9,0,9,9,0,9\n2,0,0,1,1\n"), "c.csv:2: frame 2 has 2 corners, the reference has 4");
  EXPECT_EQ(problem("1,0,0,9,0,9,9,0,9\n", 5),
            "c.csv: there is no row for the reference frame 5; choose a frame that has corners");
  EXPECT_EQ(problem("1,0,0,9,0,9,9,0,inf\n"), "c.csv:1:15: corner 3 is not two numbers");
  EXPECT_NE(problem(std::string(5000, ',')), "read");
  EXPECT_NE(problem(""), "read");
}

// What is written is where corners are seen; what the lens does not show is not.
TEST(CornersCsv, ThroughALens) {
  Motion m{640, 480, 1, {{10, 20}, {600, 25}, {605, 460}, {15, 470}}, {{1}, {2, translation(5, 0)}}};
  m.lens = {-0.15, 0};
  const auto r = parse_corners_csv(corners_csv(m), "c.csv", 640, 480, 1);
  ASSERT_TRUE(r) << to_string(r.error());
  const auto seen = m.seen_between(2, 1, m.region[1]);
  ASSERT_TRUE(seen);
  EXPECT_LT((map(r->poses[1].frame_from_ref, m.region[1]) - *seen).norm(), 1e-9);
  EXPECT_GT((map(m.poses[1].frame_from_ref, m.region[1]) - *seen).norm(), 0.3);
  m.lens = {-0.6, 0};  // So strong that nothing is seen that far out.
  EXPECT_NE(corners_csv(m).find("\n2,,,,,,,,,lost\n"), std::string::npos);
}

TEST(CornersCsv, FixedCorners) {
  const auto fixed = parse_fixed_corners(
      "frame,x0,y0,x1,y1,x2,y2,x3,y3,status\n7,1,2,3,4,5,6,7,8,weak\n\n3,9,0,1,2,3,4,5,6\n", "c.csv");
  ASSERT_TRUE(fixed);
  ASSERT_EQ(fixed->size(), 2u);
  EXPECT_EQ((*fixed)[0].frame, 7);
  EXPECT_EQ((*fixed)[0].corners, (std::vector<Point>{{1, 2}, {3, 4}, {5, 6}, {7, 8}}));
  EXPECT_EQ((*fixed)[0].file, "c.csv");
  EXPECT_EQ((*fixed)[0].line, 2);
  EXPECT_EQ((*fixed)[1].line, 4);
  const auto problem_of = [](std::string_view text) {
    const auto r = parse_fixed_corners(text, "c.csv");
    return r ? "read" : to_string(r.error()[0]);
  };
  EXPECT_EQ(problem_of(""), "c.csv: no frame has corners there; give a row for each of them");
  EXPECT_EQ(problem_of("3,1,2,x,4\n"), "c.csv:1:7: corner 1 is not two numbers");
  EXPECT_EQ(problem_of("3,1,2,3,4\n4,,,,,lost\n"), "c.csv:2: frame 4 has no corners; give them, or take its row out");
}

}  // namespace pw::corners_csv_test
