#include "warp/limit.h"

#include <gtest/gtest.h>

#include <Eigen/LU>

#include "tests/warp/drawn.h"

namespace pw::limit_test {

// The limiter's own definition, along y and then along x.
TEST(Limit, IsWhatItsDefinitionSays) {
  const Rect window = Rect::sized(30, 30);
  const Picture p = noise_picture(window, 4);
  for (Filter f : {Filter::cubic, Filter::sharp}) {
    const Matrix3 h = translation(0.3, -0.45);
    const Picture q = resample(p, h, window, {f, Edge::hold, true, {}});
    double worst = 0;
    for (int y = 0; y < 30; ++y)
      for (int x = 0; x < 30; ++x)
        for (int k = 0; k < 4; ++k) {
          const auto along = [&](auto value, double t) {  // value(i) at i - t from the middle.
            double sum = 0;
            for (int i = -2; i <= 3; ++i) sum += kernel(f, i - t) * value(i);
            return limited(sum, double(value(-1)), double(value(0)), double(value(1)), double(value(2)));
          };
          const auto column = [&](int i) {  // The position is 0.7 past the centre of pixel x - 1.
            return along([&](int j) { return beyond(p, x - 1 + i, y + j, k, Edge::hold); }, 0.45);
          };
          worst = std::max(worst, std::abs(q.at(x, y)[k] - along(column, 0.7)));
        }
    EXPECT_LT(worst, 1e-5) << name(f);
  }
}

// Lamps of several shapes, 20 times as bright as what is around them.
TEST(Limit, NothingRingsAroundALamp) {
  const auto scene = [](double x, double y, int) {
    const bool point = int(x) == 20 && int(y) == 20, pair = (int(x) == 40 || int(x) == 41) && int(y) == 20;
    const bool square = x > 55 && x < 63 && y > 12 && y < 22, disc = std::hypot(x - 25, y - 45) < 5.3;
    const bool slanted = x + 0.4 * y > 75 && x + 0.4 * y < 79 && y > 34;
    return point || pair || square || disc || slanted ? 20.f : 1.f;
  };
  const Picture p = draw(Rect::sized(90, 64), 3, scene);
  for (Filter f : {Filter::cubic, Filter::sharp})
    for (double scale : {1.0, 1.7, 0.95, 0.8, 0.5, 0.21}) {
      double low = 1e9, high = 0, bare_low = 1e9, bare_high = 0;
      for (double angle : {0.0, 0.1, 0.7})
        for (double shift : {0.0, 0.3, 0.5}) {
          Matrix3 h = scaling(scale, scale) * translation(shift, shift / 2) * translation(45, 32);
          Eigen::Matrix3d turn = Eigen::Matrix3d::Identity();
          turn.topLeftCorner<2, 2>() << std::cos(angle), -std::sin(angle), std::sin(angle), std::cos(angle);
          h = h * turn * translation(-45, -32);
          const Rect out = *mapped_bounds(h, p.window());
          for (bool limit : {true, false}) {
            const Picture q = resample(p, h, out, {f, Edge::hold, limit, {}});
            for (int y = out.y0; y < out.y1; ++y)
              for (int x = out.x0; x < out.x1; ++x) {
                (limit ? low : bare_low) = std::min(limit ? low : bare_low, double(*q.at(x, y)));
                (limit ? high : bare_high) = std::max(limit ? high : bare_high, double(*q.at(x, y)));
              }
          }
        }
      std::printf("%s x%.2f: %.3f to %.2f; without limiter %.2f to %.2f\n", std::string(name(f)).c_str(), scale, low,
                  high, bare_low, bare_high);
      EXPECT_GE(low, 1 - 1e-5) << name(f) << scale;
      EXPECT_LE(high, 20 * 1.25) << name(f) << scale;
    }
}

TEST(Limit, LeavesTextureAlone) {
  const Rect window = Rect::sized(160, 120), core{10, 10, 150, 110};
  const auto f = [](double x, double y, int k) { return float(texture(x, y, k)); };
  const Picture p = draw(window, 3, f);
  for (Filter filter : {Filter::cubic, Filter::sharp})
    for (double shift : {0.25, 0.5}) {
      const Picture truth = draw(window, 3, [&](double x, double y, int k) { return f(x - shift, y - shift, k); });
      const double with =
          psnr(resample(p, translation(shift, shift), window, {filter, Edge::hold, true, {}}), truth, core);
      const double without =
          psnr(resample(p, translation(shift, shift), window, {filter, Edge::hold, false, {}}), truth, core);
      std::printf("%s shifted %.2f: limited %.2f, not limited %.2f dB\n", std::string(name(filter)).c_str(), shift,
                  with, without);
      EXPECT_GT(with, without - 0.3);
    }
}

}  // namespace pw::limit_test
