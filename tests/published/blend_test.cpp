// Blend modes against W3C Compositing and Blending Level 1 (CR 2015-01-13), "Blending". The formulas are W3C's; the
// numbers are derived from them. W3C's luminosity uses the weights 0.3, 0.59 and 0.11, not those of Rec.709, and its
// formulas take colour that is not premultiplied.
#include <gtest/gtest.h>

#include "comp/colour/layer.h"

namespace pw::blend_test {

constexpr double kPairs[7][2] = {{.2, .3},  {.2, .7}, {.6, .3}, {.6, .7},
                                 {.25, .8}, {0, .5},  {1, .5}};  // Backdrop, source.

struct Row {
  const char* name;
  double value[7];
};
constexpr Row kSeparable[] = {
    {"multiply", {.06, .14, .18, .42, .2, 0, .5}},
    {"screen", {.44, .76, .72, .88, .85, .5, 1}},
    {"overlay", {.12, .28, .44, .76, .4, 0, 1}},
    {"darken", {.2, .2, .3, .6, .25, 0, .5}},
    {"lighten", {.3, .7, .6, .7, .8, .5, 1}},
    {"color-dodge", {.285714, .666667, .857143, 1, 1, 0, 1}},
    {"color-burn", {0, 0, 0, .428571, .0625, 0, 1}},
    {"hard-light", {.12, .52, .36, .76, .7, 0, 1}},
    {"soft-light", {.136, .2992, .504, .669839, .4, 0, 1}},
    {"difference", {.1, .5, .3, .1, .55, .5, .5}},
    {"exclusion", {.38, .62, .54, .46, .65, .5, .5}},
};

TEST(PublishedBlend, SeparableModes) {
  for (const Row& row : kSeparable)
    for (int i = 0; i < 7; ++i) {
      const double b[3] = {kPairs[i][0], kPairs[i][0], kPairs[i][0]};
      double s[3] = {kPairs[i][1], kPairs[i][1], kPairs[i][1]};
      blend(blend_mode(row.name).value(), b, s);
      for (double v : s) EXPECT_NEAR(v, row.value[i], 5e-7) << row.name << " of " << b[0];
    }
}

// Source alpha 0.5, colour 0.7; backdrop alpha 0.6, colour 0.4; the result's alpha is 0.8.
TEST(PublishedBlend, WithAlpha) {
  struct {
    const char* name;
    double premultiplied, colour;
  } const rows[] = {{"multiply", .344, .43}, {"screen", .506, .6325}, {"soft-light", .407895, .509868}};
  const Rect r{0, 0, 1, 1};
  const float backdrop[4] = {.24f, .24f, .24f, .6f}, source[4] = {.35f, .35f, .35f, .5f};
  for (const auto& row : rows) {
    const Picture p = layer(Canvas::filled(r, 4, backdrop).finish(), Canvas::filled(r, 4, source).finish(), nullptr,
                            {.blend = blend_mode(row.name).value()}, r);
    const float* v = p.at(0, 0);
    EXPECT_NEAR(v[3], 0.8, 1e-6);
    EXPECT_NEAR(v[0], row.premultiplied, 1e-6) << row.name;
    EXPECT_NEAR(v[0] / v[3], row.colour, 1e-6) << row.name;
  }
}

TEST(PublishedBlend, NonSeparableModes) {
  struct {
    const char* name;
    double value[3];
  } const rows[] = {{"hue", {.7745, .3245, .1745}},
                    {"saturation", {.119, .519, .919}},
                    {"color", {.885, .285, .085}},
                    {"luminosity", {.215, .515, .815}}};
  for (const auto& row : rows) {
    const double b[3] = {.2, .5, .8};
    double s[3] = {.9, .3, .1};
    blend(blend_mode(row.name).value(), b, s);
    for (int k = 0; k < 3; ++k) EXPECT_NEAR(s[k], row.value[k], 1e-12) << row.name;
  }
}

// OpenEXR's Technical Introduction: a composite of premultiplied colour is foreground + (1 - alpha) background, and
// colour under zero alpha (a flame) is legal and adds light. CSS Color 4: nothing is divided by an alpha of 0.
TEST(PublishedBlend, AFlameWithoutAlphaAddsItsLight) {
  const Rect r{0, 0, 1, 1};
  const float wall[4] = {.25f, .25f, .25f, 1}, flame[4] = {2, 1, 0, 0};
  for (const BlendMode mode : {BlendMode::normal, BlendMode::multiply, BlendMode::hue}) {
    const Picture p =
        layer(Canvas::filled(r, 4, wall).finish(), Canvas::filled(r, 4, flame).finish(), nullptr, {.blend = mode}, r);
    EXPECT_EQ(p.at(0, 0)[0], 2.25f);
    EXPECT_EQ(p.at(0, 0)[1], 1.25f);
    EXPECT_EQ(p.at(0, 0)[2], 0.25f);
    EXPECT_EQ(p.at(0, 0)[3], 1.f);
  }
}

}  // namespace pw::blend_test
