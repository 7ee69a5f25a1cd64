#include "base/light.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>

namespace pw::light_test {

Light ramp() {
  Light l = Light::grid(50, 30, 8);
  LightFrame f{4, {}, 1};
  for (int j = 0; j < l.rows; ++j)
    for (int i = 0; i < l.columns; ++i)
      for (int k = 0; k < 3; ++k) f.stops.push_back(static_cast<float>(0.1 * i - 0.2 * j + k));
  l.frames.push_back(f);
  return l;
}

TEST(Light, GridReachesBeyondTheLastPixel) {
  const Light l = Light::grid(50, 30, 8);
  EXPECT_GE((l.columns - 1) * 8, 50);
  EXPECT_GE((l.rows - 1) * 8, 30);
  EXPECT_LT((l.columns - 2) * 8, 50);
}

TEST(Light, NodesAndStraightFieldsAreExact) {
  const Light l = ramp();
  std::array<float, 3> s;
  for (double y : {8.0, 13.3, 21.0})
    for (double x : {8.0, 16.0, 19.7, 33.1}) {
      l.at(l.frames[0], x, y, s);
      for (int k = 0; k < 3; ++k) EXPECT_NEAR(s[k], 0.1 * x / 8 - 0.2 * y / 8 + k, 1e-6);
    }
}

TEST(Light, IsHeldBeyondItsNodes) {
  const Light l = ramp();
  std::array<float, 3> s, edge;
  l.at(l.frames[0], -100, 500, s);
  l.at(l.frames[0], 0, 32, edge);
  EXPECT_EQ(s, edge);
}

TEST(Light, KnowsItsFramesAlone) {
  const Light l = ramp();
  EXPECT_EQ(l.find(4), &l.frames[0]);
  EXPECT_EQ(l.find(3), nullptr);
  EXPECT_EQ(l.find(5), nullptr);
}

TEST(Light, OneNodeIsEnough) {
  Light l{1, 1, 4, 1, 1, {{1, {0.5f, 0.25f, -1}, 1}}};
  std::array<float, 3> s;
  l.at(l.frames[0], 0.5, 0.5, s);
  EXPECT_EQ(s, (std::array<float, 3>{0.5f, 0.25f, -1}));
}

}  // namespace pw::light_test
