#include "comp/colour/difference.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace pw::difference_test {

Picture constant(const Rect& r, std::initializer_list<float> v) {
  return Canvas::filled(r, static_cast<int>(v.size()), v.begin()).finish();
}

Picture noise(const Rect& r, int channels, unsigned seed) {
  std::mt19937 g(seed);
  std::uniform_real_distribution<float> u(0, 1);
  Canvas c(r, channels);
  for (int y = r.y0; y < r.y1; ++y)
    for (int i = 0; i < r.width() * channels; ++i) c.row(y)[i] = u(g);
  return std::move(c).finish();
}

const Rect kRect = Rect::sized(32, 24);

TEST(Difference, OfEqualPicturesIsNone) {
  const Picture p = noise(kRect, 3, 1);
  const auto d = difference(p, p, kRect);
  ASSERT_TRUE(d);
  EXPECT_EQ(d->pixels, kRect.area());
  EXPECT_EQ(d->mse, 0);
  EXPECT_TRUE(std::isinf(d->psnr));
  EXPECT_EQ(d->max_abs, 0);
  EXPECT_NEAR(*d->ssim, 1, 1e-12);
}

TEST(Difference, OfConstantPicturesIsWhatTheFormulasSay) {
  const auto d = difference(constant(kRect, {0.5f, 0.25f, 1}), constant(kRect, {0.6f, 0.25f, 1}), kRect);
  ASSERT_TRUE(d);
  EXPECT_NEAR(d->mse, 0.01 / 3, 1e-8);
  EXPECT_NEAR(d->psnr, 10 * std::log10(300), 1e-5);
  EXPECT_NEAR(d->max_abs, 0.1, 1e-7);
}

TEST(Difference, SsimAgreesWithTheDoubleSumWrittenOut) {
  const Picture a = noise(kRect, 1, 2), b = noise(kRect, 1, 3);
  double w[11], sum = 0, total = 0;
  for (int i = 0; i < 11; ++i) sum += w[i] = std::exp(-(i - 5) * (i - 5) / 4.5);
  int count = 0;
  for (int cy = 5; cy < 24 - 5; ++cy)
    for (int cx = 5; cx < 32 - 5; ++cx, ++count) {
      double ma = 0, mb = 0, saa = 0, sbb = 0, sab = 0;
      for (int pass = 0; pass < 2; ++pass)
        for (int j = -5; j <= 5; ++j)
          for (int i = -5; i <= 5; ++i) {
            const double k = w[i + 5] * w[j + 5] / (sum * sum);
            const double va = a.at(cx + i, cy + j)[0], vb = b.at(cx + i, cy + j)[0];
            if (pass == 0) {
              ma += k * va;
              mb += k * vb;
            } else {
              saa += k * (va - ma) * (va - ma);
              sbb += k * (vb - mb) * (vb - mb);
              sab += k * (va - ma) * (vb - mb);
            }
          }
      total += (2 * ma * mb + 1e-4) * (2 * sab + 9e-4) / ((ma * ma + mb * mb + 1e-4) * (saa + sbb + 9e-4));
    }
  EXPECT_NEAR(*difference(a, b, kRect)->ssim, total / count, 1e-10);
}

TEST(Difference, InsideAMatteCountsNothingElse) {
  const Picture a = constant(kRect, {0.5f});
  Canvas c = Canvas::copy(a, kRect);
  *c.at(3, 4) = 0.75f;
  const Picture b = std::move(c).finish();
  Canvas m = Canvas::clear(kRect, 1);
  *m.at(3, 4) = 1;
  *m.at(4, 4) = 0.51f;
  *m.at(5, 4) = 0.5f;  // Not above a half.
  const Picture matte = std::move(m).finish();
  const auto d = difference(a, b, kRect, 1, &matte);
  ASSERT_TRUE(d);
  EXPECT_EQ(d->pixels, 2);
  EXPECT_NEAR(d->mse, 0.0625 / 2, 1e-9);
  EXPECT_FALSE(d->ssim);  // No window centre lies so near the edge.
  const auto outside = difference(a, b, {6, 0, 32, 24});
  EXPECT_EQ(outside->mse, 0);
}

TEST(Difference, SsimInsideAMatteIsTheMeanOfThoseWindows) {
  const Picture a = noise(kRect, 3, 5), b = noise(kRect, 3, 6);
  // The whole is the mean of two parts, weighted by their window centres.
  Canvas left = Canvas::clear(kRect, 1), right = Canvas::clear(kRect, 1);
  for (int y = 0; y < 24; ++y)
    for (int x = 0; x < 32; ++x) *(x < 12 ? left : right).at(x, y) = 1;
  const Picture l = std::move(left).finish(), r = std::move(right).finish();
  const double n = 7, m = 15;  // Columns of centres, 5 to 26, in each.
  EXPECT_NEAR((n * *difference(a, b, kRect, 1, &l)->ssim + m * *difference(a, b, kRect, 1, &r)->ssim) / (n + m),
              *difference(a, b, kRect)->ssim, 1e-12);
}

TEST(Difference, DoesNotDependOnThePeakWhenValuesScaleWithIt) {
  const Picture a = noise(kRect, 1, 7), b = noise(kRect, 1, 8);
  const auto scaled = [](const Picture& p) {
    Canvas c = Canvas::copy(p, p.window());
    for (int y = 0; y < 24; ++y)
      for (int x = 0; x < 32; ++x) *c.at(x, y) *= 256;
    return std::move(c).finish();
  };
  const auto d = difference(a, b, kRect, 1), e = difference(scaled(a), scaled(b), kRect, 256);
  EXPECT_NEAR(d->psnr, e->psnr, 1e-9);
  EXPECT_NEAR(*d->ssim, *e->ssim, 1e-9);
}

TEST(Difference, OutsideItsWindowAPictureIsClearAndAlphaIsNotCompared) {
  const Picture small = constant({0, 0, 16, 24}, {1, 1, 1, 1}), wide = constant(kRect, {1, 1, 1, 0.5f});
  const auto d = difference(small, wide, kRect);
  ASSERT_TRUE(d);
  EXPECT_NEAR(d->mse, 0.5, 1e-12);
  EXPECT_EQ(difference(small, wide, {0, 0, 16, 24})->mse, 0);
}

TEST(Difference, SaysWhatCannotBeCompared) {
  const Picture one = constant(kRect, {1}), three = constant(kRect, {1, 1, 1});
  EXPECT_EQ(to_string(difference(one, three, kRect).error()[0]),
            "pictures of 1 and 3 channels cannot be compared; give two of colour or two of one channel");
  const Picture none = constant(kRect, {0});
  EXPECT_EQ(to_string(difference(one, one, kRect, 1, &none).error()[0]),
            "the matte holds no pixel to compare; check sizes and matte");
  EXPECT_EQ(to_string(difference(one, one, {}).error()[0]), "there is no pixel to compare; check sizes and matte");
}

TEST(Encoded, IsTheCurveOnColourAndNothingOnAlpha) {
  const Picture p = encoded(constant({-1, -2, 3, 1}, {0.18f, 1, 2, 0.18f}), Encoding::srgb);
  EXPECT_EQ(p.window(), (Rect{-1, -2, 3, 1}));
  EXPECT_NEAR(p.at(0, 0)[0], encode(Encoding::srgb, 0.18), 1e-6);
  EXPECT_NEAR(p.at(0, 0)[1], 1, 1e-6);
  EXPECT_NEAR(p.at(0, 0)[2], encode(Encoding::srgb, 2.0), 4e-6);
  EXPECT_EQ(p.at(0, 0)[3], 0.18f);
}

}  // namespace pw::difference_test
