// A photograph of the harbour's hall by another camera, 10 degrees aside, with a longer lens and another grade, against
// one frame in the rain with its grain. The region is what a person draws over the frame; truth is opened by the score
// alone.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <iterator>
#include <string>

#include "bars.h"
#include "comp/media/still.h"
#include "track/register.h"
#include "track/track_file.h"

namespace pw {

TEST(Still, LiesOnTheWall) {
  const std::string folder = PW_HARBOUR_STILL;
  const auto plate = read_still(folder + "/f.0001.png"), still = read_still(folder + "/stills/wall.png");
  ASSERT_TRUE(plate && still);
  const std::vector<Point> region{Point(132, 140), Point(316, 140), Point(316, 375), Point(132, 375)};
  const auto runner = arena(2);
  const auto found =
      register_still(plate->picture, {}, still->picture, {.region = region, .colour = ColourMatch::matrix}, *runner);
  ASSERT_TRUE(found) << to_string(found.error());
  EXPECT_EQ(found->status, TrackStatus::good) << found->reason;

  std::ifstream file(folder + "/truth/still.json");
  const std::string text{std::istreambuf_iterator<char>(file), {}};
  const auto truth = parse_truth(text, "still.json");
  ASSERT_TRUE(truth);
  const Matrix3 still_from_plate = truth->find(0)->frame_from_ref;
  double sum = 0, worst = 0;
  for (const Point& p : region) {
    const double d = (map(found->plate_from_still, map(still_from_plate, p)) - p).norm();
    sum += d * d / 4, worst = std::max(worst, d);
  }
  std::printf("still: %.3f px over the corners, %.3f px at the worst; %d of %d features; colour %.3f %.3f %.3f\n",
              std::sqrt(sum), worst, found->agreeing, found->tried, found->colour(0, 0), found->colour(1, 1),
              found->colour(2, 2));
  bar("register.wall.rms_px", std::sqrt(sum));
}

}  // namespace pw
