#include "track/lens_fit.h"

#include <gtest/gtest.h>

#include <cmath>

#include "base/random.h"

namespace pw::lens_fit_test {

// Drawn with the formula written out again.
Point bent(double k1, double k2, const Point& p, double w, double h) {
  const double q = ((p.x() - w / 2) * (p.x() - w / 2) + (p.y() - h / 2) * (p.y() - h / 2)) / (0.25 * (w * w + h * h));
  const double s = 1 + k1 * q + k2 * q * q;
  return {w / 2 + s * (p.x() - w / 2), h / 2 + s * (p.y() - h / 2)};
}

std::vector<Sight> sights(double k1, double k2, double noise, double scale = 1, double move = 1) {
  std::vector<Sight> all;
  const double w = 640 * scale, h = 480 * scale;
  for (int f = 2; f <= 7; ++f) {
    const double a = 0.05 * (f - 4) * move, t = move * (f - 1);
    Matrix3 m;
    m << std::cos(a) * (1 + 0.02 * t), -std::sin(a), 12 * t * scale, std::sin(a), std::cos(a), -9 * t * scale,
        5e-5 * t / scale, -4e-5 * t / scale, 1;
    Sight s{f, {}, {}};
    for (int j = 0; j < 9; ++j)
      for (int i = 0; i < 11; ++i) {
        const Point p = scale * Point(80 + 45 * i, 90 + 35 * j);
        const RandomBits b = random_bits(5, f, i, j);
        const auto g = gauss(b[0], b[1]);
        s.in_reference.push_back(bent(k1, k2, p, w, h));
        s.in_frame.push_back(bent(k1, k2, map(m, p), w, h) + noise * Point(g[0], g[1]));
      }
    all.push_back(std::move(s));
  }
  return all;
}

TEST(LensFit, ExactPlacesAtAnyScale) {
  for (double scale : {1.0, 1e6})
    for (const auto& [k1, k2] : {std::pair{-0.15, 0.0}, std::pair{0.1, 0.0}, std::pair{-0.12, 0.04}}) {
      const auto r = fit_lens(sights(k1, k2, 0, scale), 640 * scale, 480 * scale, k2 == 0 ? 1 : 2);
      ASSERT_TRUE(r) << to_string(r.error());
      EXPECT_NEAR(r->lens.k1, k1, 1e-7);
      EXPECT_NEAR(r->lens.k2, k2, 1e-7);
      EXPECT_LT(r->rms_px, 1e-6 * scale);
    }
}

TEST(LensFit, NoisyPlacesAreAsGoodAsTheySay) {
  for (int terms : {1, 2}) {
    auto seen = sights(-0.15, 0, 0.2);
    seen[1].in_frame[7] += Point(30, 4);  // A mistake, which counts for nothing.
    const auto r = fit_lens(seen, 640, 480, terms);
    ASSERT_TRUE(r) << to_string(r.error());
    EXPECT_NEAR(r->lens.k1, -0.15, 3.5 * r->lens.k1_sd);
    EXPECT_GT(r->lens.k1_sd, 1e-4);
    EXPECT_LT(r->lens.k1_sd, 0.01);
    EXPECT_NEAR(r->rms_px, 0.2 * std::sqrt(2), 0.05);  // Tukey's weights take an eighth.
  }
}

TEST(LensFit, SaysWhenItIsNotSeen) {
  const std::string start = "the lens is not seen well enough: ";
  const auto still = fit_lens(sights(-0.15, 0, 0, 1, 0), 640, 480, 1);
  ASSERT_FALSE(still) << still->lens.k1;
  EXPECT_EQ(still.error()[0].what.substr(0, start.size()), start);
  EXPECT_FALSE(fit_lens(sights(-0.15, 0, 8), 640, 480, 1));
  EXPECT_FALSE(fit_lens({}, 640, 480, 1));
  std::vector<Sight> few{{2, {{10, 10}, {90, 10}, {90, 90}, {10, 90}}, {{12, 10}, {92, 11}, {91, 90}, {11, 92}}}};
  EXPECT_EQ(fit_lens(few, 640, 480, 1).error()[0].what, start + "only 4 places were found");
  few[0].in_frame.assign(4, Point(5, 5));
  EXPECT_EQ(fit_lens(few, 640, 480, 1).error()[0].what, start + "the places of frame 2 fix no homography");
}

TEST(LensFit, DerivativesAreThoseOfFiniteDifferences) {
  Matrix3 h;
  h << 1.02, -0.05, 12, 0.03, 0.97, -20, 5e-5, -4e-5, 1;
  const Lens lens{-0.12, 0.03};
  const Point p(150, 390);
  const auto at = predict_seen(lens, h, p, 640, 480);
  ASSERT_TRUE(at);
  const double e = 1e-5;
  for (int k = 0; k < 2; ++k) {
    Lens a = lens, b = lens;
    (k ? a.k2 : a.k1) -= e, (k ? b.k2 : b.k1) += e;
    const Point d = (predict_seen(b, h, p, 640, 480)->seen - predict_seen(a, h, p, 640, 480)->seen) / (2 * e);
    EXPECT_LT((d - at->by_lens.col(k)).norm(), 1e-5 * d.norm());
  }
  for (int k = 0; k < 8; ++k) {
    const auto nudged = [&](double s) {
      Eigen::Matrix<double, 8, 1> m = Eigen::Matrix<double, 8, 1>::Zero();
      m[k] = s * 1e-3;
      Matrix3 q = Matrix3::Identity();  // track/normal.h says: [p0 p1 p2; p3 p4 p5; p6 p7 0] / radius about the centre.
      for (int i = 0; i < 8; ++i) q(i / 3, i % 3) += m[i] / 400;
      const Matrix3 to = scaling(1 / 400., 1 / 400.) * translation(-320, -240);
      return predict_seen(lens, Matrix3(h * inverted(to) * q * to), p, 640, 480)->seen;
    };
    const Point d = (nudged(1) - nudged(-1)) / 2e-3;
    EXPECT_LT((d - at->by_motion.col(k)).norm(), 1e-5) << k;
  }
}

}  // namespace pw::lens_fit_test
