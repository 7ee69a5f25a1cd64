#include "track/visibility.h"

#include <gtest/gtest.h>

#include <cmath>

#include "base/random.h"

namespace pw::visibility_test {

struct Pair {
  Rect outer{0, 0, 86, 70}, window{3, 3, 83, 67};
  Raster reference{outer}, frame{outer}, slope{outer};
  std::vector<float> mask = std::vector<float>(80 * 64, 1.f);
  std::vector<Rect> tiles;
  Light light;

  explicit Pair(double noise) {
    for (int y = 3; y < 67; y += 16)
      for (int x = 3; x < 83; x += 16) tiles.push_back({x, y, x + 16, y + 16});
    light.tile.assign(tiles.size(), LightVector::Zero());
    for (int y = 0; y < 70; ++y)
      for (int x = 0; x < 86; ++x) {
        const RandomBits b = random_bits(1, 0, x, y);
        const auto n = gauss(b[0], b[1]), m = gauss(b[2], b[3]);
        for (int c = 0; c < 3; ++c) {
          const float v = float(0.4 + 0.2 * std::sin(0.4 * x + c) * std::cos(0.3 * y));
          reference.at(x, y)[c] = v;
          frame.at(x, y)[c] = v + float(noise) * (c < 2 ? n[c] : m[0]);
          slope.at(x, y)[c] = 1;
        }
        reference.at(x, y)[3] = frame.at(x, y)[3] = 1;
      }
  }
  Visibility look(double sigma, double position_px = 0.05) {
    Visibility v;
    find_visible({&reference, &frame, &slope, mask.data(), 3, sigma, position_px}, tiles, light, serial(), v);
    return v;
  }
};

TEST(Visibility, AllOfIt) {
  Pair p(0.01);
  const Visibility v = p.look(0.01);
  EXPECT_GT(v.visible, 0.99);
  EXPECT_EQ(v.seen, 1);
  EXPECT_NEAR(v.residual, 0.01, 0.001);
  EXPECT_LT(v.inflation, 1.3);
}

TEST(Visibility, OccluderIsCutOutWhole) {
  Pair p(0.01);
  for (int y = 20; y < 50; ++y)
    for (int x = 10; x < 50; ++x)
      for (int c = 0; c < 3; ++c) p.frame.at(x, y)[c] = float(0.4 + 0.2 * std::sin(0.7 * x - 0.5 * y + c));
  const Visibility v = p.look(0.01);
  double inside = 0, outside = 0;
  for (int y = 23; y < 47; ++y)
    for (int x = 13; x < 47; ++x) inside += v.weight.at(x, y)[3];
  for (int y = 5; y < 65; ++y)
    for (int x = 56; x < 80; ++x) outside += v.weight.at(x, y)[3];
  EXPECT_LT(inside / (24 * 34), 0.01);
  EXPECT_GT(outside / (60 * 24), 0.8);
}

// The frame shows what the reference has 0.8 pixels further on: where a position may be wrong by that much, nothing
// hides the plane, not even at the tops of the waves, where the slope is 0; where it is known better, something does.
TEST(Visibility, UncertainPositionExcusesTexture) {
  Pair p(0);
  for (int y = 0; y < 70; ++y)
    for (int x = 0; x < 86; ++x)
      for (int c = 0; c < 3; ++c) {
        const double u = x + 0.64, v = y - 0.48;
        p.frame.at(x, y)[c] = float(0.4 + 0.2 * std::sin(0.4 * u + c) * std::cos(0.3 * v));
      }
  const Visibility excused = p.look(0.001, 0.8);
  EXPECT_GT(excused.visible, 0.99);
  EXPECT_EQ(excused.inflation, 1);
  double least = 1;
  for (int y = 5; y < 65; ++y)
    for (int x = 5; x < 81; ++x) least = std::min<double>(least, excused.weight.at(x, y)[3]);
  EXPECT_GT(least, 0.5);
  EXPECT_LT(p.look(0.001, 0.02).visible, 0.1);
}

TEST(Visibility, AgreementNeedsTheSameTexture) {
  const auto of = [](const Pair& p, double sigma) {
    return agreement({&p.reference, &p.frame, &p.slope, p.mask.data(), 3, sigma, 0.1}, p.tiles, p.light, serial());
  };
  EXPECT_NEAR(of(Pair(0), 0.001), 1, 1e-3);
  EXPECT_GT(of(Pair(0.1), 0.1), 0.8);    // As much noise as texture, which is taken off.
  EXPECT_LT(of(Pair(0.1), 0.001), 0.8);  // Not known to be noise.
  Pair darker(0), other(0), half(0), flat(0);
  for (int y = 0; y < 70; ++y)
    for (int x = 0; x < 86; ++x)
      for (int c = 0; c < 3; ++c) {
        darker.frame.at(x, y)[c] *= 0.3f;
        other.frame.at(x, y)[c] = float(0.4 + 0.2 * std::sin(0.52 * x - 0.3 * y) * std::cos(0.45 * y + c));
        if (x < 35) half.frame.at(x, y)[c] = other.frame.at(x, y)[c];
        flat.frame.at(x, y)[c] = 0.4f;
      }
  EXPECT_GT(of(darker, 0.001), 0.99);
  EXPECT_LT(std::abs(of(other, 0.001)), 0.15);
  EXPECT_NEAR(of(half, 0.001), 0.6, 0.1);
  EXPECT_EQ(of(flat, 0.001), 0);
}

TEST(Visibility, MaskAndFrameEdgeCountNothing) {
  Pair p(0.01);
  for (int y = 0; y < 70; ++y)
    for (int x = 60; x < 86; ++x) p.frame.at(x, y) = splat(0);
  for (int i = 0; i < 80 * 10; ++i) p.mask[i] = 0;
  const Visibility v = p.look(0.01);
  EXPECT_EQ(v.weight.at(70, 40)[3], 0);
  EXPECT_EQ(v.weight.at(30, 8)[3], 0);
  EXPECT_NEAR(v.seen, 55.0 / 80, 0.01);  // The derivative reaches two pixels.
}

}  // namespace pw::visibility_test
