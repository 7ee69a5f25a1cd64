#include "comp/weather/drops.h"

#include <gtest/gtest.h>

#include <cmath>

namespace pw::drops_test {

// R. Gunn, G. D. Kinzer, "The Terminal Velocity of Fall for Water Droplets in Stagnant Air", J. Meteorology 6, 243-248,
// 1949, table 2 (as transcribed in PySDM, terminal_velocity/gunn_and_kinzer.py): mm, m/s.
constexpr double kGunnKinzer[][2] = {{.5, 2.06},  {.6, 2.47},  {.7, 2.87},  {.8, 3.27},  {.9, 3.67},  {1.0, 4.03},
                                     {1.2, 4.64}, {1.4, 5.17}, {1.6, 5.65}, {1.8, 6.09}, {2.0, 6.49}, {2.2, 6.90},
                                     {2.4, 7.27}, {2.6, 7.57}, {2.8, 7.82}, {3.0, 8.06}, {3.2, 8.26}, {3.4, 8.44},
                                     {3.6, 8.60}, {3.8, 8.72}, {4.0, 8.83}, {4.2, 8.92}, {4.4, 8.98}, {4.6, 9.03},
                                     {4.8, 9.07}, {5.0, 9.09}, {5.2, 9.12}, {5.4, 9.14}, {5.6, 9.16}, {5.8, 9.17}};

TEST(Drops, FallAsMeasured) {
  for (const auto& [mm, speed] : kGunnKinzer) EXPECT_NEAR(fall_speed(float(mm)), speed, 0.021 * speed) << mm;
}

TEST(Drops, FallByTheFit) {  // Values of the published fit.
  for (const auto& [mm, speed] : {std::pair{.5, 2.020},
                                  {1., 3.997},
                                  {1.4, 5.203},
                                  {2., 6.548},
                                  {3., 7.947},
                                  {4., 8.716},
                                  {5., 9.137},
                                  {5.8, 9.333}})
    EXPECT_NEAR(fall_speed(float(mm)), speed, 6e-4) << mm;
}

TEST(Drops, SlopesOfMarshallAndPalmer) {  // 4.1 R^-0.21.
  for (const auto& [rain, slope] : {std::pair{1., 4.1000},
                                    {2.5, 3.3823},
                                    {5., 2.9242},
                                    {10., 2.5280},
                                    {25., 2.0855},
                                    {50., 1.8030},
                                    {100., 1.5588}})
    EXPECT_NEAR(drop_slope(rain), slope, 1e-4) << rain;
}

TEST(Drops, HowMany) {
  for (const double rain : {0.1, 1., 10., 100.}) {
    double sum = 0;
    for (double mm = kSmallestDrop; mm < kLargestDrop; mm += 1e-4)
      sum += 8000 * std::exp(-4.1 * std::pow(rain, -0.21) * (mm + 5e-5)) * 1e-4;
    EXPECT_NEAR(drops_per_m3(rain), sum, 1e-4 * sum) << rain;
  }
  EXPECT_EQ(drops_per_m3(0), 0);
}

}  // namespace pw::drops_test
