#include "track/ground_grid.h"

#include <gtest/gtest.h>

#include <cmath>

namespace pw::ground_grid_test {

// A camera 2 m high, tilted down by 10 degrees, rolled by 3: the ground's homography written out.
Camera camera() {
  Camera c;
  c.width = 400, c.height = 300, c.frame = 1, c.focal_px = 320, c.height_m = 2;
  const double t = 10 * M_PI / 180, r = 3 * M_PI / 180;
  Matrix3 k, roll, pose;
  k << 320, 0, 200, 0, 320, 150, 0, 0, 1;
  roll << std::cos(r), std::sin(r), 0, -std::sin(r), std::cos(r), 0, 0, 0, 1;
  pose << 1, 0, 0, 0, -std::sin(t), 2 * std::cos(t), 0, std::cos(t), 2 * std::sin(t);
  c.frame_from_ground = k * roll * pose;
  return c;
}

float cover_at(const Picture& p, const Point& at) {
  return p.window().contains(int(std::floor(at.x())), int(std::floor(at.y())))
             ? p.at(int(std::floor(at.x())), int(std::floor(at.y())))[3]
             : -1;
}

TEST(GroundGrid, LinesLieAtWholeMetres) {
  const Camera c = camera();
  const Picture p = ground_grid(c);
  int seen = 0;
  for (int z = 4; z <= 7; ++z)
    for (int x = -2; x <= 2; ++x) {
      const float on = cover_at(p, map(c.frame_from_ground, Point(x, z)));
      if (on < 0) continue;
      ++seen;
      EXPECT_GT(on, 0.2f) << x << " " << z;
      EXPECT_EQ(cover_at(p, map(c.frame_from_ground, Point(x + 0.5, z + 0.5))), 0) << x << " " << z;
    }
  EXPECT_GT(seen, 10);
  EXPECT_GT(cover_at(p, map(c.frame_from_ground, Point(0.5, 5))),
            1.5 * cover_at(p, map(c.frame_from_ground, Point(0.5, 4))));
}

TEST(GroundGrid, TheHorizonIsWhereTheGroundEnds) {
  const Camera c = camera();
  const Picture p = ground_grid(c);
  for (double x : {20.5, 200.5, 380.5}) {
    const double row = c.horizon_y(x);
    ASSERT_TRUE(row > 5 && row < 295);
    const float* on = p.at(int(x), int(row));
    EXPECT_GT(on[3], 0.7f);
    EXPECT_LT(on[2], 0.3f * on[0]);
    for (int y = 0; y < int(row) - 3; ++y) EXPECT_EQ(p.at(int(x), y)[3], 0);
    for (int y = int(row) + 3; y < int(row) + 6; ++y) EXPECT_LT(p.at(int(x), y)[3], 0.3f) << "lines too close together";
  }
}

}  // namespace pw::ground_grid_test
