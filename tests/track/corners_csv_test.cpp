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

}  // namespace pw::corners_csv_test
