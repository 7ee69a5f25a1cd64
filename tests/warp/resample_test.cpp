#include "warp/resample.h"

#include <gtest/gtest.h>

#include <Eigen/Eigenvalues>
#include <Eigen/LU>
#include <opencv2/imgproc.hpp>

#include "base/parallel.h"
#include "tests/warp/drawn.h"

namespace pw::resample_test {

constexpr Filter kFilters[] = {Filter::linear, Filter::cubic, Filter::sharp, Filter::smooth};
constexpr Edge kEdges[] = {Edge::clear, Edge::hold, Edge::mirror};

// The definition in resample.h, in double precision, one sum over all pixels nearby; without limiter or halving.
double defined(const Picture& p, const Matrix3& source_from_out, double x, double y, int k, const ResampleOptions& o) {
  const Point at = map(source_from_out, Point(x, y));
  const double e = 1e-4;
  Eigen::Matrix2d j;
  j.col(0) = (map(source_from_out, Point(x + e, y)) - map(source_from_out, Point(x - e, y))) / (2 * e);
  j.col(1) = (map(source_from_out, Point(x, y + e)) - map(source_from_out, Point(x, y - e))) / (2 * e);
  Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> eigen(j * j.transpose());
  Eigen::Vector2d s = eigen.eigenvalues().cwiseMax(0).cwiseSqrt();
  for (int i = 0; i < 2; ++i) s(i) = s(i) >= 1.3 ? s(i) : s(i) <= 1.1 ? 1.0 : 1 + (s(i) - 1.1) * 1.5;
  Eigen::Matrix2d inverse = eigen.eigenvectors() * s.cwiseInverse().asDiagonal() * eigen.eigenvectors().transpose();
  // Little slant is left out.
  const double scale = std::sqrt(inverse(0, 0) * inverse(1, 1)), slant = std::abs(inverse(0, 1)) / scale;
  const double kept = slant <= 0.1 ? 0 : std::min(1.0, (slant - 0.1) * 1.5 / slant);
  inverse(0, 1) = inverse(1, 0) = inverse(0, 1) * kept;
  const int r = int(std::ceil(3 * 1.5 * s.maxCoeff())) + 1, cx = int(std::floor(at.x())), cy = int(std::floor(at.y()));
  double sum = 0, total = 0;
  for (int py = cy - r; py <= cy + r; ++py)
    for (int px = cx - r; px <= cx + r; ++px) {
      const Eigen::Vector2d d = inverse * (Point(px + 0.5, py + 0.5) - at);
      const double w = kernel(o.filter, d.x()) * kernel(o.filter, d.y());
      total += w, sum += w == 0 ? 0 : w * beyond(p, px, py, k, o.edge);
    }
  return sum / total;
}

TEST(Resample, IsWhatItsDefinitionSays) {
  const Rect window{-3, 2, 21, 24}, out{-6, -4, 26, 28};
  double worst = 0;
  for (int channels = 1; channels <= 4; ++channels) {
    const Picture p = noise_picture(window, channels);
    for (Filter f : kFilters)
      for (Edge edge : kEdges)
        for (const Matrix3& h : {tilted(1.0, 0.2), tilted(2.3, -0.7), tilted(0.85, 0.1), tilted(0.5, 0.6, 0.4)}) {
          const ResampleOptions o{f, edge, false, {}};
          const Picture q = resample(p, h, out, o);
          const Matrix3 back = h.inverse();
          for (int y = out.y0; y < out.y1; y += 3)
            for (int x = out.x0; x < out.x1; x += 2)
              for (int k = 0; k < channels; ++k)
                worst = std::max(worst, std::abs(q.at(x, y)[k] - defined(p, back, x + 0.5, y + 0.5, k, o)));
        }
  }
  EXPECT_LT(worst, 1e-5);
}

TEST(Resample, WholeShiftsKeepEveryBit) {
  Canvas c = Canvas::copy(noise_picture(Rect{2, 3, 12, 11}, 4), Rect{2, 3, 12, 11});
  c.at(5, 5)[0] = -0.0f, c.at(6, 5)[1] = 1e30f, c.at(7, 5)[2] = 1e-42f, c.at(8, 5)[3] = -7;
  const Picture p = std::move(c).finish();
  for (Filter f : {Filter::linear, Filter::cubic, Filter::sharp})
    for (Edge edge : kEdges) {
      const ResampleOptions o{f, edge, true, {}};
      EXPECT_TRUE(same_bits(resample(p, Matrix3::Identity(), p.window(), o), p));
      EXPECT_TRUE(same_bits(resample(p, translation(-40, 7), p.window().moved(-40, 7), o), p.moved(-40, 7)));
      EXPECT_TRUE(same_bits(resample(p, Matrix3(3 * translation(1, 0)), p.window().moved(1, 0), o), p.moved(1, 0)));
    }
  // Elsewhere it is clear.
  const Picture q = resample(p, translation(1, 1), Rect{0, 0, 20, 20});
  EXPECT_TRUE(same_bits(q.cropped(p.window().moved(1, 1)), p.moved(1, 1)));
  EXPECT_EQ(q.at(2, 4)[0], 0);
}

TEST(Resample, AConstantStaysOneToTheBit) {
  const float value[] = {0.1f, 0.7f, 123.456f, 1e-5f};
  const Picture p = Canvas::filled(Rect{-50, -50, 150, 150}, 4, value).finish();
  for (Filter f : {Filter::cubic, Filter::sharp})
    for (const Matrix3& h : {translation(0.37, 0.61), tilted(1, 0.3), tilted(0.7, 0.1), tilted(0.2, 1, 0.5)}) {
      const Picture q = resample(p, h, Rect{0, 0, 16, 16}, {f, Edge::hold, true, {}});
      for (int y = 0; y < 16; ++y)
        for (int x = 0; x < 16; ++x)
          for (int k = 0; k < 4; ++k) ASSERT_EQ(q.at(x, y)[k], value[k]) << name(f) << x << " " << y;
    }
  // Without the limiter only rounding is left.
  for (Filter f : kFilters)
    for (const Matrix3& h : {translation(0.37, 0.61), tilted(0.2, 1, 0.5), tilted(0.02, 1, 0.5)}) {
      const Picture q = resample(p, h, Rect{0, 0, 16, 16}, {f, Edge::hold, false, {}});
      for (int y = 0; y < 16; ++y)
        for (int x = 0; x < 16; ++x)
          for (int k = 0; k < 4; ++k) ASSERT_NEAR(q.at(x, y)[k] / value[k], 1, 1e-5) << name(f);
    }
}

// A zone plate's rings and a soft spot, whose values are known everywhere.
TEST(Resample, AccuracyOnKnownPictures) {
  const Rect window = Rect::sized(200, 160), core{30, 30, 170, 130};
  const auto zone = [](double x, double y, int) {
    const double r2 = (x - 20) * (x - 20) + (y - 10) * (y - 10);
    return float(0.5 + 0.5 * std::cos(2 * M_PI * r2 / 1200));  // 0.25 cycles per pixel about 150 px from its middle.
  };
  const Matrix3 h = tilted(1.02, 0.05);
  const Picture p = draw(window, 1, zone);
  const Picture truth = draw(window, 1, [&](double x, double y, int k) {
    const Point s = map(Matrix3(h.inverse()), Point(x, y));
    return zone(s.x(), s.y(), k);
  });
  const auto reached = [&](Filter f, bool limit) {
    return psnr(resample(p, h, window, {f, Edge::clear, limit, {}}), truth, core);
  };
  std::printf("zone plate to 0.25 cycles/px: linear %.1f cubic %.1f sharp %.1f dB; limited: cubic %.1f sharp %.1f dB\n",
              reached(Filter::linear, false), reached(Filter::cubic, false), reached(Filter::sharp, false),
              reached(Filter::cubic, true), reached(Filter::sharp, true));
  EXPECT_GT(reached(Filter::sharp, true), 42);
  EXPECT_GT(reached(Filter::sharp, true), reached(Filter::cubic, true) + 5);
  EXPECT_GT(reached(Filter::cubic, true), reached(Filter::linear, false) + 5);

  const auto spot = [](double x, double y, int) {
    return float(std::exp(-((x - 90.3) * (x - 90.3) + (y - 77.7) * (y - 77.7)) / (2 * 1.5 * 1.5)));
  };
  const Picture soft = draw(window, 1, spot), moved = resample(soft, translation(0.5, 0.25), window);
  const Picture exact = draw(window, 1, [&](double x, double y, int k) { return spot(x - 0.5, y - 0.25, k); });
  EXPECT_LT(largest_difference(moved, exact, window), 0.007);
}

TEST(Resample, BetterThanOpenCv) {
  const Rect window = Rect::sized(200, 160), core{20, 20, 180, 140};
  const auto f = [](double x, double y, int k) { return float(texture(x, y, k)); };
  const Picture p = draw(window, 4, f);
  const Matrix3 h = tilted(1.01, 0.03);
  const Picture truth = draw(window, 4, [&](double x, double y, int k) {
    const Point s = map(Matrix3(h.inverse()), Point(x, y));
    return f(s.x(), s.y(), k);
  });
  const auto opencv = [&](const Matrix3& m, int flag) {
    const Matrix3 centred = to_pixel_centres(m);
    cv::Mat hc(3, 3, CV_64F), from(160, 200, CV_32FC4, const_cast<float*>(p.row(0))), to;
    for (int i = 0; i < 9; ++i) hc.at<double>(i / 3, i % 3) = centred(i / 3, i % 3);
    cv::warpPerspective(from, to, hc, from.size(), flag, cv::BORDER_REPLICATE);
    return draw(window, 4, [&](double x, double y, int k) { return to.ptr<float>(int(y))[int(x) * 4 + k]; });
  };
  // The same thing where both do the same: a shift by a multiple of its 1/32 pixel.
  const Picture ours = resample(p, translation(0.25, -0.5), window, {Filter::linear, Edge::hold, true, {}});
  EXPECT_LT(largest_difference(ours, opencv(translation(0.25, -0.5), cv::INTER_LINEAR), window), 1e-5);
  const double cubic = psnr(resample(p, h, window, {Filter::cubic, Edge::hold, true, {}}), truth, core);
  const double sharp = psnr(resample(p, h, window, {Filter::sharp, Edge::hold, true, {}}), truth, core);
  const double theirs = psnr(opencv(h, cv::INTER_CUBIC), truth, core);
  const double lanczos = psnr(opencv(h, cv::INTER_LANCZOS4), truth, core);
  std::printf("texture: OpenCV cubic %.1f lanczos4 %.1f dB; cubic %.1f sharp %.1f dB\n", theirs, lanczos, cubic, sharp);
  EXPECT_GT(cubic, theirs + 1);
  EXPECT_GT(sharp, theirs + 6);
  EXPECT_GT(sharp, lanczos);
}

TEST(Resample, AnyPartEqualsTheWholeInAnyOrder) {
  const Picture p = noise_picture(Rect{-5, -5, 90, 70}, 3);
  const Rect out{-10, -10, 83, 61};
  for (const Matrix3& h : {tilted(1, 0.1), tilted(0.6, 0.4), tilted(0.05, 0.4, 0.5), tilted(3, 2)})
    for (Edge edge : kEdges) {
      const ResampleOptions o{Filter::sharp, edge, true, {}};
      const Picture whole = resample(p, h, out, o);
      std::vector<Rect> tiles;
      for (int y = out.y0; y < out.y1; y += 17)
        for (int x = out.x0; x < out.x1; x += 29) tiles.push_back(intersect(out, Rect{x, y, x + 29, y + 17}));
      shuffled(7)->run(tiles.size(), [&](size_t i) {
        EXPECT_TRUE(same_bits(resample(p, h, tiles[i], o), whole.cropped(tiles[i])));
        // And from no more of the source than its reach.
        const Rect need = source_reach(h, tiles[i], p.window(), o);
        ResampleOptions part = o;
        part.source_window = p.window();
        EXPECT_TRUE(same_bits(resample(p.cropped(need), h, tiles[i], part), whole.cropped(tiles[i])))
            << h << int(edge) << " " << tiles[i].x0 << " " << tiles[i].y0 << " " << need.x0 << " " << need.x1;
      });
    }
}

TEST(Resample, ColourUnderSoftAlphaKeepsItsColour) {
  const float colour[] = {0.8f, 0.3f, 4.f};
  const Picture p = draw(Rect::sized(60, 60), 4, [&](double x, double y, int k) {
    const double d = std::hypot(x - 30, y - 30);
    const float a = float(std::min(1.0, std::max(0.0, (18 - d) / 2.5)));
    return k == 3 ? a : a * colour[k];
  });
  for (const Matrix3& h : {translation(0.3, 0.7), tilted(1.3, 0.4), tilted(0.45, 0.4)})
    for (bool limit : {true, false}) {
      const Picture q = resample(p, h, Rect::sized(70, 70), {Filter::sharp, Edge::clear, limit, {}});
      double worst = 0;
      for (int y = 0; y < 70; ++y)
        for (int x = 0; x < 70; ++x) {
          const float* v = q.at(x, y);
          if (limit) {
            EXPECT_GE(v[3], 0);
          }
          for (int k = 0; k < 3; ++k) worst = std::max(worst, std::abs(double(v[k]) - double(v[3]) * colour[k]));
        }
      EXPECT_LT(worst, 1e-5);
    }
}

TEST(Resample, ScalesWithItsInput) {
  const Rect out{-4, -4, 60, 44};
  for (const Matrix3& h : {tilted(1, 0.3), tilted(0.4, 0.3, 0.6)}) {
    const Picture a = resample(noise_picture(Rect::sized(60, 40), 4), h, out);
    const Picture b = resample(noise_picture(Rect::sized(60, 40), 4, 1048576), h, out);
    const Picture c = resample(noise_picture(Rect::sized(60, 40), 4, 1e6f), h, out);
    for (int y = out.y0; y < out.y1; ++y)
      for (int i = 0; i < out.width() * 4; ++i) {
        ASSERT_EQ(a.row(y)[i] * 1048576, b.row(y)[i]);
        ASSERT_NEAR(a.row(y)[i], c.row(y)[i] * 1e-6f, 2e-6);
      }
  }
}

TEST(Resample, EdgesContinueThePicture) {
  const Rect window{3, 4, 24, 19}, far{-150, -150, 200, 200}, out{-20, -18, 50, 44};
  const Picture p = noise_picture(window, 2);
  for (Edge edge : kEdges) {
    const Picture wide = draw(far, 2, [&](double x, double y, int k) {
      return float(beyond(p, int(std::floor(x)), int(std::floor(y)), k, edge));
    });
    for (const Matrix3& h : {translation(0.3, 0.6), tilted(0.5, 0.2)}) {
      const ResampleOptions o{Filter::sharp, edge, true, {}};
      EXPECT_LT(largest_difference(resample(p, h, out, o), resample(wide, h, out, o), out), 1e-6);
    }
  }
}

TEST(Resample, BeyondTheHorizonIsClearAndAllIsFinite) {
  const Picture p = noise_picture(Rect::sized(80, 60), 4);
  Matrix3 h = Matrix3::Identity();
  h(2, 1) = -1 / 40.;  // Source rows from 40 on lie behind.
  for (Edge edge : kEdges) {
    const ResampleOptions o{Filter::sharp, edge, true, {}};
    for (const Rect& out : {Rect{-200, -200, 200, 200}, Rect{-2000000000, 0, -1999999990, 10}, Rect{5, 5, 6, 6}})
      EXPECT_TRUE(all_finite(resample(p, h, out.area() > 1000000 ? Rect{0, 0, 9, 9} : out, o)));
    // Images of points before the horizon go up to y -> infinity; negative w shows as y < -40.
    const Picture q = resample(p, h, Rect{-50, -300, 50, -41}, o);
    for (int y = -300; y < -41; ++y)
      for (int i = 0; i < 400; ++i) ASSERT_EQ(q.row(y)[i], 0);
  }
  for (double bad : {0.0, 1e300, std::nan(""), std::numeric_limits<double>::infinity()}) {
    Matrix3 m = Matrix3::Identity() * bad;
    const Picture q = resample(p, m, Rect::sized(8, 8));
    EXPECT_TRUE(all_finite(q));
  }
  for (double s : {1e-9, 1e-4, 1e-2, 1e4, 1e9}) EXPECT_TRUE(all_finite(resample(p, scaling(s, s), Rect::sized(8, 8))));
  for (double s : {1e-5, 1e5})
    EXPECT_TRUE(all_finite(resample(p, scaling(s, 1 / s), Rect::sized(8, 8), {Filter::sharp, Edge::mirror, true, {}})));
}

TEST(Resample, SinglePixelsAndNothingAtAll) {
  const float v[] = {0.25f, 0.5f, 0.75f, 1.f};
  const Picture dot = Canvas::filled(Rect{4, 4, 5, 5}, 4, v).finish();
  for (Edge edge : {Edge::hold, Edge::mirror}) {
    const Picture q = resample(dot, tilted(0.7, 0.3), Rect{-3, -3, 12, 12}, {Filter::sharp, edge, true, {}});
    for (int y = -3; y < 12; ++y)
      for (int x = -3; x < 12; ++x)
        for (int k = 0; k < 4; ++k) ASSERT_EQ(q.at(x, y)[k], v[k]);
  }
  EXPECT_TRUE(all_finite(resample(dot, translation(0.5, 0.5), Rect{-3, -3, 12, 12})));
  EXPECT_TRUE(resample(dot, Matrix3::Identity(), Rect{}).empty());
  const Picture none = resample(Picture(), translation(0.5, 0), Rect::sized(3, 3));
  EXPECT_EQ(none.window(), Rect::sized(3, 3));
  EXPECT_EQ(*none.at(1, 1), 0);
}

}  // namespace pw::resample_test
