#include "comp/matte/edge.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>

#include "base/outline.h"
#include "base/random.h"
#include "comp/matte/cell_line.h"
#include "comp/matte/raster.h"

namespace pw::edge_test {

Picture matte(const Rect& r, const std::function<double(int, int)>& value) {
  Canvas c(r, 1);
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x) *c.at(x, y) = static_cast<float>(value(x, y));
  return std::move(c).finish();
}
// The half plane n . p < d, p in plate pixels: exact.
Picture half_plane(const Rect& r, double turn, double d) {
  const double nx = std::cos(turn), ny = std::sin(turn);
  return matte(r, [&](int x, int y) { return covered({nx, ny, d - nx * (x + 0.5) - ny * (y + 0.5)}); });
}
// Coverage by counting n x n points a pixel.
Picture counted(const Rect& r, int n, const std::function<bool(double, double)>& inside) {
  return matte(r, [&](int x, int y) {
    int in = 0;
    for (int j = 0; j < n; ++j)
      for (int i = 0; i < n; ++i) in += inside(x + (i + 0.5) / n, y + (j + 0.5) / n);
    return double(in) / n / n;
  });
}
double worst(const Picture& a, const Picture& b, const Rect& r) {
  double w = 0;
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x) w = std::max<double>(w, std::abs(*a.at(x, y) - *b.at(x, y)));
  return w;
}
constexpr Rect kWide{-40, -40, 80, 80}, kRect{0, 0, 40, 40};

TEST(Edge, HalfPlanesAreExactAtAnyAngle) {
  for (double turn = 0; turn < 6.3; turn += 0.2117)
    for (const double move : {-7.3, -1.0, -0.25, 0.4, 3.7, 11.0}) {
      const double d = 20 * (std::cos(turn) + std::sin(turn)) + 0.37;
      const Picture is = edge_moved(half_plane(kWide, turn, d), {move, 0}, kRect);
      EXPECT_LT(worst(is, half_plane(kRect, turn, d + move), kRect), 2e-5) << turn << " " << move;
    }
}

TEST(Edge, EdgesBetweenPixelsToo) {
  for (const double turn : {0.0, M_PI / 2, M_PI, -M_PI / 2})
    for (const double move : {-2.25, 0.5, 4.0}) {
      const double d = 20 * std::round(std::cos(turn) + std::sin(turn));
      const Picture is = edge_moved(half_plane(kWide, turn, d), {move, 0}, kRect);
      EXPECT_LT(worst(is, half_plane(kRect, turn, d + move), kRect), 1e-6) << turn << " " << move;
    }
}

TEST(Edge, Discs) {
  for (const double radius : {9.0, 16.4})
    for (const double move : {-5.2, -0.3, 0.8, 4.6}) {
      const auto disc = [&](double r) {
        return counted(kRect, 32, [r](double x, double y) { return std::hypot(x - 20.3, y - 19.6) < r; });
      };
      const Picture is = edge_moved(disc(radius), {move, 0}, kRect);
      double area = 0;
      for (int y = 0; y < 40; ++y)
        for (int x = 0; x < 40; ++x) area += *is.at(x, y);
      EXPECT_LT(worst(is, disc(radius + move), {2, 2, 38, 38}), 0.05) << radius << " " << move;
      if (radius + move < 18) {
        EXPECT_NEAR(std::sqrt(area / M_PI), radius + move, 0.01);
      }
    }
}

// A drawn shape with corners, against its distance field in 16 x 16 points a pixel.
TEST(Edge, CornersAgainstTheDistance) {
  const std::vector<Point> corners{{8.2, 7.1}, {33.4, 12.9}, {24.8, 19.5}, {30.1, 33.3}, {9.7, 29.4}};
  const Shape shape{{polygon(corners)}};
  const auto depth = [&](double x, double y) {
    double least = 1e9;
    bool in = false;
    for (size_t i = 0; i < corners.size(); ++i) {
      const Point a = corners[i], b = corners[(i + 1) % corners.size()], p(x, y);
      const double t = std::clamp((p - a).dot(b - a) / (b - a).squaredNorm(), 0.0, 1.0);
      least = std::min(least, (p - a - t * (b - a)).norm());
      if ((a.y() > y) != (b.y() > y) && x < (b.x() - a.x()) * (y - a.y()) / (b.y() - a.y()) + a.x()) in = !in;
    }
    return in ? least : -least;
  };
  // Coverage does not tell where a corner is: it is rounded. Everywhere else the edge is right.
  const auto compare = [&](const Picture& is, const Picture& should, double reach, double sides, double tips) {
    double beside = 0;
    for (int y = 0; y < 40; ++y)
      for (int x = 0; x < 40; ++x) {
        double nearest = 1e9;
        for (const Point& c : corners) nearest = std::min(nearest, (c - Point(x + 0.5, y + 0.5)).norm());
        const double error = std::abs(*is.at(x, y) - *should.at(x, y));
        if (nearest > 2.2 * reach + 3) beside = std::max(beside, error);
        ASSERT_LT(error, tips) << x << " " << y;
      }
    EXPECT_LT(beside, sides);
  };
  const Picture sharp = rasterise(shape, kRect, 0);
  for (const double move : {-2.6, 1.7, 4.2})
    compare(edge_moved(sharp, {move, 0}, kRect),
            counted(kRect, 16, [&](double x, double y) { return depth(x, y) > -move; }), std::abs(move), 0.06, 0.7);
  for (const double feather : {2.0, 5.0})  // As an outline's own.
    compare(edge_moved(sharp, {0, feather}, kRect), rasterise(shape, kRect, feather), feather, 0.03, 0.2);
}

TEST(Edge, SoftEdgesKeepTheirSoftness) {
  for (const double turn : {0.0, 0.7, 2.9}) {
    const double nx = std::cos(turn), ny = std::sin(turn), d = 20 * (nx + ny);
    const auto ramp = [&](double move) {
      return matte(kWide, [&, move](int x, int y) {
        return std::clamp(0.5 + (d + move - nx * (x + 0.5) - ny * (y + 0.5)) / 12, 0.0, 1.0);
      });
    };
    for (const double move : {-3.4, 0.6, 5.0})
      EXPECT_LT(worst(edge_moved(ramp(0), {move, 0}, kRect), ramp(move), kRect), 0.02) << turn << " " << move;
  }
}

TEST(Edge, ThinHairIsMovedToo) {  // Never above a half, so that it has no edge at all.
  const Picture hair = matte(kWide, [](int x, int) { return x == 20 ? 0.4 : 0; });
  const Picture grown = edge_moved(hair, {1.5, 0}, kRect), gone = edge_moved(hair, {-1, 0}, kRect);
  EXPECT_NEAR(*grown.at(19, 9), 0.4, 1e-6);
  EXPECT_NEAR(*grown.at(18, 9), 0.2, 1e-6);
  EXPECT_EQ(*grown.at(17, 9), 0);
  EXPECT_EQ(*gone.at(20, 9), 0);
}

TEST(Edge, DiscLargestAgainstManyPoints) {
  const Picture p = matte(kWide, [](int x, int y) { return uniform(random_bits(5, 0, x / 3, y / 3)[0]); });
  const Rect r{10, 10, 24, 22};
  for (const double radius : {0.4, 1.0, 2.7, 5.2}) {
    const Picture is = disc_largest(p, radius, r);
    double below = 0;
    for (int y = r.y0; y < r.y1; ++y)
      for (int x = r.x0; x < r.x1; ++x) {
        double most = 0;
        for (double dy = -radius; dy <= radius; dy += 0.05)
          for (double dx = -radius; dx <= radius; dx += 0.05) {
            if (dx * dx + dy * dy > radius * radius) continue;
            const int ix = int(std::floor(x + dx)), iy = int(std::floor(y + dy));
            const double u = x + dx - ix, v = y + dy - iy;
            most = std::max(most, (1 - v) * ((1 - u) * *p.at(ix, iy) + u * *p.at(ix + 1, iy)) +
                                      v * ((1 - u) * *p.at(ix, iy + 1) + u * *p.at(ix + 1, iy + 1)));
          }
        EXPECT_LT(*is.at(x, y), most + 0.04);  // Never more.
        below += most - *is.at(x, y);
      }
    EXPECT_LT(below / double(r.area()), 0.01) << radius;
  }
}

TEST(Edge, NothingToDoKeepsBits) {
  const Picture p = matte(kWide, [](int x, int y) { return uniform(random_bits(5, 0, x, y)[0]); });
  EXPECT_TRUE(same_bits(edge_moved(p, {}, kRect), p.cropped(kRect)));
  EXPECT_EQ(edge_reach({}), 0);
}

TEST(Edge, PartsAreTheWholeBitForBit) {
  const Picture p = matte(kWide, [](int x, int y) {
    const double d = std::hypot(x - 20, y - 20) - 15;
    return x < 20 ? std::clamp(0.5 - d, 0.0, 1.0) : std::clamp(0.5 - d / 5, 0.0, 1.0);
  });
  for (const EdgeMove move : {EdgeMove{2.3, 0}, {-3.1, 2}, {0, 4}}) {
    const Picture whole = edge_moved(p, move, kWide);
    for (const Rect r : {Rect{-40, -40, 11, 80}, {5, 20, 6, 21}, {12, -3, 38, 33}}) {
      EXPECT_TRUE(same_bits(edge_moved(p, move, r), whole.cropped(r)));
      EXPECT_TRUE(same_bits(edge_moved(p.cropped(r.grown(edge_reach(move))), move, r), whole.cropped(r)));
    }
  }
}

}  // namespace pw::edge_test
