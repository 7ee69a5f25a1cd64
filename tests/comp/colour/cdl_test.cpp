#include "comp/colour/cdl.h"

#include <gtest/gtest.h>

#include <cmath>

#include "base/random.h"

namespace pw::cdl_test {

Picture noise(const Rect& r, int channels) {
  Canvas c(r, channels);
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x) {
      const RandomBits b = random_bits(9, 0, x, y);
      const float a = x % 3 == 0 ? 0.f : x % 3 == 1 ? 1.f : uniform(b[3]);
      for (int k = 0; k < std::min(3, channels); ++k) c.at(x, y)[k] = uniform(b[k]) * 3 * (channels == 4 ? a : 1);
      if (channels == 4) c.at(x, y)[3] = a;
    }
  return std::move(c).finish();
}

// One pixel in double precision, straight from the formula.
std::array<double, 3> slow(std::array<double, 3> v, const Cdl& c, const CdlOptions& o) {
  double luma = 0;
  for (int k = 0; k < 3; ++k) {
    v[k] = encode(o.space, v[k]) * c.slope[k] + c.offset[k];
    if (o.clamp) v[k] = std::min(std::max(v[k], 0.0), 1.0);
    if (v[k] > 0) v[k] = std::pow(v[k], c.power[k]);
    luma += v[k] * (k == 0 ? 0.2126 : k == 1 ? 0.7152 : 0.0722);
  }
  for (double& x : v) {
    x = luma + c.saturation * (x - luma);
    if (o.clamp) x = std::min(std::max(x, 0.0), 1.0);
    x = decode(o.space, x);
  }
  return v;
}

const Cdl kWarm{{1.3, 1.0, 0.8}, {0.02, -0.03, 0.01}, {0.9, 1.1, 1.4}, 0.8};
constexpr Rect kRect{-2, 3, 31, 20};

TEST(Cdl, AgainstTheFormulaInEverySpace) {
  for (const int channels : {3, 4})
    for (const Encoding space : all_encodings())
      for (const bool clamp : {false, true}) {
        const Picture in = noise(kRect, channels), out = corrected(in, kWarm, {space, clamp}, kRect);
        ASSERT_EQ(out.channels(), channels);
        for (int y = kRect.y0; y < kRect.y1; ++y)
          for (int x = kRect.x0; x < kRect.x1; ++x) {
            const float *i = in.at(x, y), *o = out.at(x, y);
            const double a = channels == 4 ? i[3] : 1;
            if (channels == 4) {
              ASSERT_EQ(o[3], i[3]);
            }
            if (a == 0) {
              for (int k = 0; k < 3; ++k) ASSERT_EQ(o[k], i[k]);
              continue;
            }
            const auto should = slow({i[0] / a, i[1] / a, i[2] / a}, kWarm, {space, clamp});
            for (int k = 0; k < 3; ++k) ASSERT_NEAR(o[k], should[k] * a, 2e-5 * (std::abs(should[k]) + 0.1) * a);
          }
      }
}

TEST(Cdl, NothingToDoKeepsBits) {
  const Picture in = noise(kRect, 4);
  for (const Encoding space : all_encodings()) EXPECT_TRUE(same_bits(corrected(in, {}, {space, false}, kRect), in));
}

TEST(Cdl, WhereThereIsNothingNothingComes) {
  const Cdl up{{1, 1, 1}, {0.5, 0.5, 0.5}, {1, 1, 1}, 1};
  EXPECT_EQ(corrected(noise(kRect, 3), up, {}, kRect.grown(5)).window(), kRect);
  const Picture clear = Canvas::clear(kRect, 4).finish();
  EXPECT_TRUE(same_bits(corrected(clear, up, {}, kRect), clear));
}

TEST(Cdl, AbsurdNumbersStayFinite) {
  const Cdl absurd{{1e6, 1e6, 0}, {1e6, -1e6, 0}, {1e6, 50, 1e-3}, 1e6};
  for (const Encoding space : all_encodings()) {
    const Picture p = corrected(noise(kRect, 4), absurd, {space, false}, kRect);
    for (int y = kRect.y0; y < kRect.y1; ++y)
      for (int i = 0; i < 4 * kRect.width(); ++i) ASSERT_TRUE(std::isfinite(p.row(y)[i])) << name(space);
  }
}

TEST(Cdl, OneChannelIsGrey) {
  const Picture p = corrected(noise(kRect, 1), {{2, 2, 2}, {}, {1, 1, 1}, 1}, {}, kRect);
  ASSERT_EQ(p.channels(), 3);
  EXPECT_FLOAT_EQ(p.at(4, 5)[2], 2 * *noise(kRect, 1).at(4, 5));
}

}  // namespace pw::cdl_test
