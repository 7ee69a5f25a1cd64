#include "warp/area.h"

#include <gtest/gtest.h>

#include <Eigen/LU>

#include "tests/warp/drawn.h"

namespace pw::area_test {

// Singular values and the symmetric root of J J^T, by hand.
TEST(Area, FootprintIsTheRootOfTheReach) {
  const Footprint turned = footprint(0, -3, 2, 0);  // Three source pixels per pixel along x, two along y.
  EXPECT_FLOAT_EQ(turned.longest, 3);
  EXPECT_FLOAT_EQ(turned.shortest, 2);
  EXPECT_FLOAT_EQ(turned.xx, 3);
  EXPECT_FLOAT_EQ(turned.yy, 2);
  EXPECT_EQ(turned.inv_xy, 0);
  // Enlarging leaves the plain kernel, and so does shrinking by a few per cent.
  for (float s : {0.01f, 0.5f, 1.f, 1.1f}) {
    const Footprint f = footprint(s, 0, 0, s);
    EXPECT_FLOAT_EQ(f.inv_xx, 1);
    EXPECT_FLOAT_EQ(f.inv_yy, 1);
    EXPECT_FLOAT_EQ(f.longest, 1);
  }
  // Two pixels along one diagonal and one along the other.
  const float h = std::sqrt(0.5f);
  const Footprint slant = footprint(2 * h, -h, 2 * h, h);
  EXPECT_NEAR(slant.xx, 1.5, 1e-5);
  EXPECT_NEAR(slant.xy, 0.5, 1e-5);
  EXPECT_NEAR(slant.yy, 1.5, 1e-5);
  EXPECT_NEAR(slant.xx * slant.inv_xx + slant.xy * slant.inv_xy, 1, 1e-5);
  const Footprint half = footprint(12, 0, 0, 8, 1);
  EXPECT_FLOAT_EQ(half.xx, 6);
  EXPECT_FLOAT_EQ(half.yy, 4);
}

TEST(Area, FineDetailBecomesItsMean) {
  const Picture board =
      draw(Rect::sized(400, 300), 1, [](double x, double y, int) { return float((int(x) + int(y)) & 1); });
  for (double s : {0.5, 0.3, 0.11, 0.01}) {
    const Rect out = Rect::sized(int(400 * s), int(300 * s));
    const Picture q = resample(board, scaling(s, s), out, {Filter::sharp, Edge::mirror, true, {}});
    const int rim = s > 0.02 ? 4 : 0;  // Mirrored, the pattern has a seam at the edge.
    for (int y = rim; y < out.y1 - rim; ++y)
      for (int x = rim; x < out.x1 - rim; ++x) EXPECT_NEAR(*q.at(x, y), 0.5, s > 0.4 ? 0.06 : 0.01) << s;
  }
  // A hundred to one: each pixel is near the mean of what it covers, and brightness is kept.
  const Picture p = draw(Rect::sized(1200, 900), 1, [](double x, double y, int k) {
    return float(texture(x / 60, y / 60, k) + 0.2 * (noise(int(x), int(y), k) - 0.5));
  });
  const Picture q = resample(p, scaling(0.01, 0.01), Rect::sized(12, 9), {Filter::smooth, Edge::mirror, true, {}});
  const Picture sharp = resample(p, scaling(0.01, 0.01), Rect::sized(12, 9), {Filter::sharp, Edge::mirror, true, {}});
  double worst = 0, mean = 0, total = 0;
  for (int y = 0; y < 9; ++y)
    for (int x = 0; x < 12; ++x) {
      double sum = 0;
      for (int j = 0; j < 100; ++j)
        for (int i = 0; i < 100; ++i) sum += *p.at(100 * x + i, 100 * y + j);
      worst = std::max(worst, std::abs(*sharp.at(x, y) - sum / 10000));
      mean += sum / 10000, total += *q.at(x, y);
    }
  EXPECT_LT(worst, 0.05);
  EXPECT_NEAR(total / mean, 1, 0.005);
}

TEST(Area, ShrinkingOneWayLeavesTheOtherSharp) {
  // Detail along y, shrunk along x: nothing may be lost. Detail along x beyond what fits: nothing may be left.
  const Rect window = Rect::sized(240, 60);
  for (double angle : {0.0, 0.6}) {
    Matrix3 turn = Matrix3::Identity();
    turn.topLeftCorner<2, 2>() << std::cos(angle), std::sin(angle), -std::sin(angle), std::cos(angle);
    const Matrix3 h = scaling(1 / 6., 1) * turn * translation(-120, -30);
    for (bool lengthwise : {false, true}) {
      const Picture p = draw(window, 1, [&](double x, double y, int) {
        const Point q = map(Matrix3(turn * translation(-120, -30)), Point(x, y));
        return float(0.5 + 0.4 * std::sin(2 * M_PI * 0.2 * (lengthwise ? q.x() : q.y())));
      });
      const Rect out{-3, -6, 3, 6};
      const Picture r = resample(p, h, out);
      for (int y = out.y0; y < out.y1; ++y)
        for (int x = out.x0; x < out.x1; ++x)
          EXPECT_NEAR(*r.at(x, y), lengthwise ? 0.5 : 0.5 + 0.4 * std::sin(2 * M_PI * 0.2 * (y + 0.5)), 0.02)
              << angle << lengthwise;
    }
  }
}

// The same point of a texture while the scale slides from 1 to 1/20: steps stay in proportion to the slide, so there is
// no seam where another way of filtering takes over.
TEST(Area, NoSeamBetweenWaysOfFiltering) {
  const Picture p = draw(Rect::sized(400, 400), 1, [](double x, double y, int k) {
    return float(texture(x, y, k) + texture(x / 8, y / 8, k) + 0.3 * (noise(int(x), int(y), 0) - 0.5));
  });
  for (double stretch : {1.0, 0.35}) {
    double last = -1, worst = 0;
    for (double shrink = 1.0; shrink < 20; shrink *= 1.004) {
      const Matrix3 h = scaling(1 / shrink, stretch / shrink) * translation(-200.3, -199.6);
      const double v = *resample(p, h, Rect{0, 0, 1, 1}, {Filter::sharp, Edge::hold, false, {}}).at(0, 0);
      if (last >= 0) worst = std::max(worst, std::abs(v - last));
      last = v;
    }
    std::printf("largest step for 0.4 %% of scale: %.4f\n", worst);
    EXPECT_LT(worst, 0.02);
  }
}

}  // namespace pw::area_test
