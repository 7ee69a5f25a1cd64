#include "base/surroundings.h"

#include <gtest/gtest.h>

#include <cmath>

#include "base/random.h"

namespace pw::surroundings_test {

TEST(Surroundings, AgainstTheDirectSum) {
  const Rect canvas = Rect::sized(96, 60);
  Canvas c(canvas, 3);
  for (int y = 0; y < 60; ++y)
    for (int x = 0; x < 96; ++x)
      for (int k = 0; k < 3; ++k) c.at(x, y)[k] = x > 70 && y < 20 ? 5.f : uniform(random_bits(1, k, x / 9, y / 9)[0]);
  const Picture p = std::move(c).finish();
  const Surroundings s(p, canvas, 20);
  for (const auto& [px, py] : {std::pair{10., 12.}, {48., 30.}, {90., 5.}, {60.5, 41.25}}) {
    double sum[3] = {0, 0, 0}, all = 0;
    for (int y = 0; y < 60; ++y)
      for (int x = 0; x < 96; ++x) {
        const double w = std::exp(-(std::pow(x + 0.5 - px, 2) + std::pow(y + 0.5 - py, 2)) / 800);
        for (int k = 0; k < 3; ++k) sum[k] += w * p.at(x, y)[k];
        all += w;
      }
    for (int k = 0; k < 3; ++k) EXPECT_NEAR(s.at(px, py)[k], sum[k] / all, 0.01 * sum[k] / all) << px << " " << k;
  }
}

TEST(Surroundings, WhatIsNotShownDoesNotDarken) {
  const float half[] = {0.2f, 0.1f, 0.05f, 0.5f};
  const Picture p = Canvas::filled({0, 0, 30, 60}, 4, half).finish();
  const Surroundings s(p, Rect::sized(96, 60), 20);
  EXPECT_NEAR(s.at(80, 30)[0], 0.4, 1e-6);
  EXPECT_EQ(Surroundings(Picture(), Rect::sized(96, 60), 20).at(3, 3)[0], 0);
  EXPECT_EQ(Surroundings(Picture(), {}, 20).at(3, 3)[0], 0);
}

}  // namespace pw::surroundings_test
