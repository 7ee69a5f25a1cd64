#include "comp/matte/cell_line.h"

#include <gtest/gtest.h>

#include <cmath>

namespace pw::cell_line_test {

TEST(CellLine, CoverageAgainstCounting) {
  for (double turn = 0; turn < 6.2; turn += 0.37)
    for (double d = -0.8; d <= 0.8; d += 0.13) {
      const CellLine line{std::cos(turn), std::sin(turn), d};
      int in = 0;
      constexpr int n = 400;
      for (int j = 0; j < n; ++j)
        for (int i = 0; i < n; ++i) in += line.nx * ((i + 0.5) / n - 0.5) + line.ny * ((j + 0.5) / n - 0.5) < d;
      EXPECT_NEAR(covered(line), double(in) / n / n, 3e-3) << turn << " " << d;
    }
}

TEST(CellLine, OffsetIsTheInverse) {
  for (double turn = 0; turn < 6.3; turn += M_PI / 16)
    for (double share = 0; share <= 1; share += 0.05) {
      const double nx = std::cos(turn), ny = std::sin(turn);
      EXPECT_NEAR(covered({nx, ny, offset_for(nx, ny, share)}), share, 1e-12);
    }
  EXPECT_NEAR(offset_for(1, 0, 0.25), -0.25, 1e-15);
  EXPECT_NEAR(offset_for(0, -1, 1), 0.5, 1e-15);
}

TEST(CellLine, StraightEdgesAreFoundExactly) {
  for (double turn = 0; turn < 6.3; turn += 0.0931)
    for (double d = -0.6; d <= 0.6; d += 0.117) {
      const CellLine line{std::cos(turn), std::sin(turn), d};
      float share[3][3];
      for (int j = 0; j < 3; ++j)
        for (int i = 0; i < 3; ++i)
          share[j][i] = static_cast<float>(covered({line.nx, line.ny, d - line.nx * (i - 1) - line.ny * (j - 1)}));
      if (share[1][1] < 0.01f || share[1][1] > 0.99f) continue;  // A corner of the pixel says little about the slope.
      const CellLine found = edge_through(share);
      EXPECT_NEAR(found.nx, line.nx, 1e-5) << turn << " " << d;
      EXPECT_NEAR(found.ny, line.ny, 1e-5);
      EXPECT_NEAR(found.d, line.d, 1e-5);
    }
}

}  // namespace pw::cell_line_test
