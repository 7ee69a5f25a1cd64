#include "comp/colour/blend.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>

#include "base/random.h"

namespace pw::blend_test {

using Colour = std::array<double, 3>;
Colour blended(BlendMode mode, const Colour& b, Colour s) {
  blend(mode, b.data(), s.data());
  return s;
}
Colour drawn(uint32_t i, uint32_t lane, double scale = 1) {
  const RandomBits r = random_bits(7, {i, lane, 0, 0});
  return {scale * uniform(r[0]), scale * uniform(r[1]), scale * uniform(r[2])};
}

TEST(Blend, NamesGoBothWays) {
  EXPECT_EQ(all_porter_duff().size(), 13u);
  EXPECT_EQ(all_blend_modes().size(), 16u);
  for (PorterDuff op : all_porter_duff()) EXPECT_EQ(porter_duff(name(op)), op);
  for (BlendMode mode : all_blend_modes()) EXPECT_EQ(blend_mode(name(mode)), mode);
  EXPECT_EQ(porter_duff("source-over"), PorterDuff::over);
  EXPECT_EQ(porter_duff("lighter"), PorterDuff::plus);
  EXPECT_EQ(porter_duff("under"), std::nullopt);
  EXPECT_EQ(blend_mode("colour"), std::nullopt);
}

TEST(Blend, StaysInRange) {
  for (BlendMode mode : all_blend_modes())
    for (uint32_t i = 0; i < 500; ++i)
      for (double v : blended(mode, drawn(i, 0), drawn(i, 1))) {
        EXPECT_GE(v, -1e-12) << name(mode);
        EXPECT_LE(v, 1 + 1e-12) << name(mode);
      }
}

TEST(Blend, Symmetries) {
  for (uint32_t i = 0; i < 200; ++i) {
    const Colour b = drawn(i, 0), s = drawn(i, 1);
    for (BlendMode mode : {BlendMode::multiply, BlendMode::screen, BlendMode::darken, BlendMode::lighten,
                           BlendMode::difference, BlendMode::exclusion})
      for (int k = 0; k < 3; ++k) EXPECT_NEAR(blended(mode, b, s)[k], blended(mode, s, b)[k], 1e-15) << name(mode);
    for (int k = 0; k < 3; ++k) {
      EXPECT_EQ(blended(BlendMode::overlay, b, s)[k], blended(BlendMode::hard_light, s, b)[k]);
      EXPECT_NEAR(blended(BlendMode::screen, b, s)[k], 1 - (1 - b[k]) * (1 - s[k]), 1e-15);
      EXPECT_EQ(blended(BlendMode::normal, b, s)[k], s[k]);
    }
  }
}

TEST(Blend, NonSeparableModesKeepWhatTheirNamesSay) {
  const auto lum = [](const Colour& c) { return 0.3 * c[0] + 0.59 * c[1] + 0.11 * c[2]; };
  for (uint32_t i = 0; i < 200; ++i) {
    const Colour b = drawn(i, 0), s = drawn(i, 1);
    for (BlendMode mode : {BlendMode::hue, BlendMode::saturation, BlendMode::color})
      EXPECT_NEAR(lum(blended(mode, b, s)), lum(b), 1e-12) << name(mode);
    EXPECT_NEAR(lum(blended(BlendMode::luminosity, b, s)), lum(s), 1e-12);
    for (int k = 0; k < 3; ++k) EXPECT_NEAR(blended(BlendMode::color, b, b)[k], b[k], 1e-12);
  }
}

TEST(Blend, GreyHasNoHueToGive) {
  const Colour r = blended(BlendMode::hue, {0.2, 0.5, 0.8}, {0.4, 0.4, 0.4});
  EXPECT_NEAR(r[0], r[1], 1e-12);
  EXPECT_NEAR(r[1], r[2], 1e-12);
}

TEST(Blend, LightAboveWhiteSurvivesAndNothingJumpsAtOne) {
  for (BlendMode mode : all_blend_modes()) {
    const Colour s{0.3, 0.6, 0.9};
    const Colour just = blended(mode, {1, 1, 1}, s), above = blended(mode, {1 + 1e-9, 1 + 1e-9, 1 + 1e-9}, s);
    for (int k = 0; k < 3; ++k) EXPECT_NEAR(just[k], above[k], 1e-8) << name(mode);
  }
  EXPECT_DOUBLE_EQ(blended(BlendMode::screen, {20, 20, 20}, {0.3, 4, 0})[0], 20);
  EXPECT_DOUBLE_EQ(blended(BlendMode::screen, {20, 20, 20}, {0.3, 4, 0})[1], 20);
  EXPECT_DOUBLE_EQ(blended(BlendMode::multiply, {20, 20, 20}, {0.5, 4, 0})[1], 80);
  EXPECT_DOUBLE_EQ(blended(BlendMode::exclusion, {3, 3, 3}, {0.25, 0, 1})[0], 2.75);
  for (BlendMode mode : all_blend_modes())
    for (double v : blended(mode, drawn(1, 0, 30), drawn(2, 1, 30))) EXPECT_TRUE(std::isfinite(v)) << name(mode);
}

TEST(Blend, RowsMixUnderTheSourcesAlphaAsTheFormulaSays) {
  for (BlendMode mode : all_blend_modes()) {
    float back[4 * 50], front[4 * 50], mixed[4 * 50];
    for (uint32_t i = 0; i < 50; ++i) {
      const double ab = i < 3 ? i / 2.0 : drawn(i, 2)[0], as = i < 3 ? 1 - i / 2.0 : drawn(i, 2)[1];
      for (int k = 0; k < 3; ++k) {
        back[4 * i + k] = static_cast<float>(drawn(i, 0)[k] * ab);
        front[4 * i + k] = static_cast<float>(drawn(i, 1)[k] * as);
      }
      back[4 * i + 3] = static_cast<float>(ab);
      front[4 * i + 3] = static_cast<float>(as);
    }
    blend_row(mode, back, front, mixed, 50);
    for (uint32_t i = 0; i < 50; ++i) {
      const double ab = back[4 * i + 3], as = front[4 * i + 3];
      const Colour r = blended(mode, drawn(i, 0), drawn(i, 1));
      for (int k = 0; k < 3; ++k)
        EXPECT_NEAR(mixed[4 * i + k], (1 - ab) * as * drawn(i, 1)[k] + as * ab * r[k], 2e-5) << name(mode);
      EXPECT_EQ(mixed[4 * i + 3], front[4 * i + 3]);
    }
  }
}

TEST(Blend, LightWithoutAlphaStays) {
  const float back[4] = {0.2f, 0.3f, 0.4f, 1}, glow[4] = {0.5f, 0.25f, 0, 0};
  float mixed[4];
  blend_row(BlendMode::multiply, back, glow, mixed, 1);
  for (int k = 0; k < 4; ++k) EXPECT_EQ(mixed[k], glow[k]);
}

}  // namespace pw::blend_test
