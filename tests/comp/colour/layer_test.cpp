#include "comp/colour/layer.h"

#include <gtest/gtest.h>

#include <array>
#include <bit>
#include <cmath>

#include "base/random.h"

namespace pw::layer_test {

// Premultiplied colours up to 3, alpha with plenty of 0 and 1.
Picture drawn(const Rect& r, int channels, uint64_t seed) {
  Canvas c(r, channels);
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x) {
      const RandomBits b = random_bits(seed, 0, x, y);
      const float kind = uniform(b[3]), alpha = kind < 0.2f ? 0 : kind < 0.4f ? 1 : (kind - 0.4f) / 0.6f;
      for (int k = 0; k < channels; ++k)
        c.at(x, y)[k] = k == 3 ? alpha : channels == 1 ? alpha : 3 * uniform(b[k]) * (channels == 4 ? alpha : 1);
    }
  return std::move(c).finish();
}

// A pixel as RGBA, clear outside the window.
std::array<double, 4> pixel(const Picture& p, int x, int y) {
  if (!p.window().contains(x, y)) return {};
  const float* v = p.at(x, y);
  if (p.channels() == 1) return {v[0], v[0], v[0], 1};
  return {v[0], v[1], v[2], p.channels() == 4 ? v[3] : 1};
}

constexpr Rect kRect{-5, 3, 42, 30};

TEST(Layer, EveryOperatorAgainstTheFormula) {
  for (const int back_channels : {3, 4})
    for (const int front_channels : {3, 4}) {
      const Picture back = drawn({-5, 3, 30, 30}, back_channels, 1), front = drawn({4, 0, 42, 22}, front_channels, 2);
      const Picture mask = drawn({0, 5, 35, 25}, 1, 3);
      for (const PorterDuff op : all_porter_duff())
        for (const bool masked : {false, true}) {
          const double opacity = masked ? 0.75 : 1;
          const Picture p = layer(back, front, masked ? &mask : nullptr, {.op = op, .opacity = opacity}, kRect);
          for (int y = kRect.y0; y < kRect.y1; ++y)
            for (int x = kRect.x0; x < kRect.x1; ++x) {
              const auto b = pixel(back, x, y), f = pixel(front, x, y);
              const double k = masked ? opacity * (mask.window().contains(x, y) ? *mask.at(x, y) : 0) : 1;
              for (int c = 0; c < p.channels(); ++c) {
                double r = composite(op, f[c], f[3], b[c], b[3]);
                if (c == 3) r = std::min(r, 1.0);
                EXPECT_NEAR(p.at(x, y)[c], b[c] + k * (r - b[c]), 2e-6) << name(op) << " " << x << "," << y;
              }
            }
        }
    }
}

TEST(Layer, EveryBlendModeThenOver) {
  const Picture back = drawn(kRect, 4, 1), front = drawn(kRect, 4, 2);
  for (const BlendMode mode : all_blend_modes()) {
    const Picture p = layer(back, front, nullptr, {.blend = mode}, kRect);
    for (int y = kRect.y0; y < kRect.y1; ++y)
      for (int x = kRect.x0; x < kRect.x1; ++x) {
        const auto b = pixel(back, x, y), f = pixel(front, x, y);
        double cb[3], cs[3];
        for (int c = 0; c < 3; ++c) cb[c] = b[3] > 0 ? b[c] / b[3] : 0, cs[c] = f[3] > 0 ? f[c] / f[3] : 0;
        blend(mode, cb, cs);
        for (int c = 0; c < 3; ++c) {
          const double r = f[3] * (1 - b[3]) * (f[3] > 0 ? f[c] / f[3] : 0) + f[3] * b[3] * cs[c] + (1 - f[3]) * b[c];
          EXPECT_NEAR(p.at(x, y)[c], r, 1e-4) << name(mode);
        }
      }
  }
}

// Values a sum would change: negative zero, infinities, the smallest number.
Picture odd(const Rect& r, int channels, float alpha) {
  const float values[] = {-0.f, INFINITY, 1e-45f, -3.5f, 1e30f, 0.1f};
  Canvas c(r, channels);
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x)
      for (int k = 0; k < channels; ++k) c.at(x, y)[k] = k == 3 ? alpha : values[(x + 2 * y + k) % 6];
  return std::move(c).finish();
}

TEST(Layer, WhereTheMaskIsNothingTheBacksBitsComeBack) {
  const Rect r{0, 0, 13, 6};
  const Picture mask = Canvas::clear(r, 1).finish();
  const Picture far = Canvas::clear({100, 100, 110, 110}, 1).finish();  // Nowhere near.
  for (const int channels : {3, 4})
    for (const PorterDuff op : all_porter_duff())
      for (const BlendMode mode : {BlendMode::normal, BlendMode::soft_light}) {
        const Picture back = odd(r, channels, 0.3f);
        for (const Picture* m : {&mask, &far}) {
          const Picture p = layer(back, odd(r, 4, 1), m, {.op = op, .blend = mode}, r);
          for (int y = 0; y < 6; ++y)
            for (int x = 0; x < 13; ++x)
              for (int k = 0; k < channels; ++k)
                EXPECT_EQ(std::bit_cast<uint32_t>(p.at(x, y)[k]), std::bit_cast<uint32_t>(back.at(x, y)[k]))
                    << name(op);
        }
      }
}

TEST(Layer, AnEmptyFrontLeavesTheBacksBitsAndAFullOneGivesItsOwn) {
  const Rect r{0, 0, 13, 6};
  for (const int channels : {3, 4}) {
    const Picture back = odd(r, channels, 0.3f), empty = Canvas::clear(r, 4).finish();
    EXPECT_TRUE(same_bits(layer(back, empty, nullptr, {}, r), back));
    EXPECT_TRUE(same_bits(layer(back, Picture(), nullptr, {}, r), back));
    EXPECT_TRUE(same_bits(layer(back, odd(r, channels, 1), nullptr, {}, r), odd(r, channels, 1)));
    const float one = 1;
    const Picture full = Canvas::filled(r, 1, &one).finish();
    EXPECT_TRUE(same_bits(layer(back, odd(r, channels, 1), &full, {}, r), odd(r, channels, 1)));
  }
}

TEST(Layer, LightAboveOneAndLightWithoutAlphaSurvive) {
  const Rect r{0, 0, 1, 1};
  const float lamp[4] = {20, 12, 3, 1}, glow[4] = {2, 1, 0.5f, 0}, half[4] = {0.25f, 0.25f, 0.25f, 0.5f};
  const auto one = [&](const float* v) { return Canvas::filled(r, 4, v).finish(); };
  const Picture p = layer(one(lamp), one(glow), nullptr, {}, r);
  EXPECT_EQ(p.at(0, 0)[0], 22);
  EXPECT_EQ(p.at(0, 0)[3], 1);
  EXPECT_EQ(layer(one(lamp), one(half), nullptr, {}, r).at(0, 0)[0], 10.25f);
  const Picture plus = layer(one(lamp), one(half), nullptr, {.op = PorterDuff::plus}, r);
  EXPECT_EQ(plus.at(0, 0)[0], 20.25f);
  EXPECT_EQ(plus.at(0, 0)[3], 1);
}

TEST(Layer, OverIsAssociative) {
  const Picture a = drawn(kRect, 4, 1), b = drawn(kRect, 4, 2), c = drawn(kRect, 4, 3);
  const auto over = [](const Picture& front, const Picture& back) { return layer(back, front, nullptr, {}, kRect); };
  const Picture left = over(over(a, b), c), right = over(a, over(b, c));
  for (int y = kRect.y0; y < kRect.y1; ++y)
    for (int i = 0; i < 4 * kRect.width(); ++i) EXPECT_NEAR(left.row(y)[i], right.row(y)[i], 2e-6);
}

TEST(Layer, PartsAreTheWholeBitForBit) {
  const Picture back = drawn({-5, 3, 30, 30}, 4, 1), front = drawn({4, 0, 42, 22}, 4, 2),
                mask = drawn({0, 5, 35, 25}, 1, 3);
  for (const BlendMode mode : {BlendMode::normal, BlendMode::overlay, BlendMode::hue}) {
    const LayerOptions options{.blend = mode, .opacity = 0.6};
    const Picture whole = layer(back, front, &mask, options, kRect);
    for (const Rect r : {Rect{-5, 3, -4, 30}, {0, 4, 17, 5}, {7, 9, 42, 30}})
      EXPECT_TRUE(same_bits(layer(back, front, &mask, options, r), whole.cropped(r)));
  }
}

TEST(Layer, ChannelsDoNotDependOnTheRectangle) {
  const Picture back = drawn({0, 0, 9, 9}, 3, 1), front = drawn({0, 0, 9, 9}, 4, 2);
  EXPECT_EQ(layer(back, front, nullptr, {}, {0, 0, 9, 9}).channels(), 3);
  EXPECT_EQ(layer(back, front, nullptr, {}, {20, 20, 29, 29}).channels(), 3);
  EXPECT_EQ(layer(back, front, nullptr, {.op = PorterDuff::in}, {0, 0, 9, 9}).channels(), 4);
  EXPECT_TRUE(layer(back, front, nullptr, {}, Rect{}).empty());
}

}  // namespace pw::layer_test
