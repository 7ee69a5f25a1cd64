#include "track/readout.h"

#include <gtest/gtest.h>

#include <cmath>

#include "base/random.h"
#include "track/straighten.h"

namespace pw::readout_test {

// The plane's true place at any time.
Matrix3 course(double t, double scale = 1) {
  const double a = 0.01 * std::sin(0.3 * t), s = 1 + 0.004 * t;
  Matrix3 m;
  m << s * std::cos(a), -s * std::sin(a), scale * (12 * std::sin(0.7 * t) + t), s * std::sin(a), s * std::cos(a),
      scale * 9 * std::cos(0.9 * t), 1e-6 * t / scale, 0, 1;
  return m;
}

struct Filmed {
  Motion motion;  // Nothing known but its size and region, every pose as it is without a readout.
  std::vector<Sight> sights;
};

Filmed film(double readout, double noise_px = 0, int frames = 40, double scale = 1, double speed = 1) {
  const double h = 480 * scale;
  Filmed f{{int(640 * scale), int(h), 5, {}, {}}, {}};
  for (const Point& c : {Point(100, 80), Point(500, 80), Point(500, 400), Point(100, 400)})
    f.motion.region.push_back(scale * c);
  const auto place = [&](double t) { return course(speed * t, scale); };
  const auto when = [&](int frame, double y) { return frame + readout * (y / h - 0.5); };
  for (int n = 1; n <= frames; ++n) {
    f.motion.poses.push_back({n});
    if (n == 5) continue;
    Sight s{n, {}, {}};
    for (int j = 0; j < 5; ++j)
      for (int i = 0; i < 5; ++i) {
        const Point c = scale * Point(100 + 100 * i, 80 + 80 * j);
        const Point on_plane = map(inverted(place(when(5, c.y()))), c);
        Point seen = map(place(n), on_plane);
        for (int k = 0; k < 40; ++k) seen = map(place(when(n, seen.y())), on_plane);
        const RandomBits b = random_bits(3, n, i, j);
        const auto g = gauss(b[0], b[1]);
        s.in_reference.push_back(c), s.in_frame.push_back(seen + noise_px * Point(g[0], g[1]));
      }
    f.sights.push_back(std::move(s));
  }
  return f;
}

Result<Readout> found(Filmed& f) {
  Result<Readout> left = Readout{};
  for (int i = 0; i < 25; ++i) {
    straighten(f.sights, f.motion);
    left = readout_left(f.motion);
    if (!left) return left;
    f.motion.readout = std::clamp(f.motion.readout + left->more, -1.0, 1.0);
    if (std::abs(left->more) < 1e-5) break;
  }
  return left;
}

TEST(Readout, ExactSightsAtAnyScale) {
  for (double readout : {0.6, -0.3, 0.0})
    for (double scale : {1.0, 1e6}) {
      Filmed f = film(readout, 0, 40, scale);
      const auto r = found(f);
      ASSERT_TRUE(r) << to_string(r.error());
      EXPECT_NEAR(f.motion.readout, readout, 0.01) << scale;
      EXPECT_LT(r->sd, 0.01);
    }
}

TEST(Readout, NoisySightsAreAsGoodAsTheySay) {
  Filmed f = film(0.6, 0.1);
  const auto r = found(f);
  ASSERT_TRUE(r) << to_string(r.error());
  EXPECT_NEAR(f.motion.readout, 0.6, 3.5 * r->sd);
  EXPECT_LT(r->sd, 0.02);
  EXPECT_GT(r->sd, 0.0005);
}

TEST(Readout, SaysWhenItIsNotSeen) {
  const std::string start = "the readout is not seen well enough: ";
  Filmed few = film(0.6, 0, 9);
  few.motion.poses.resize(9);
  Filmed still = film(0.6, 0, 40, 1, 0);
  Filmed slow = film(0.6, 0.5, 40, 1, 0.02);
  for (Filmed f : {few, still, slow}) {
    const auto r = found(f);
    ASSERT_FALSE(r) << f.motion.readout << " " << r->sd;
    EXPECT_EQ(r.error()[0].what.substr(0, start.size()), start);
  }
  EXPECT_EQ(found(few).error()[0].what, start + "only 5 frames in a row were tracked");
}

TEST(Straighten, FindsTheMotionBehindTheRows) {
  Filmed f = film(0.6);
  f.motion.readout = 0.6;
  straighten(f.sights, f.motion);
  double worst = 0;
  for (const Sight& s : f.sights)
    if (s.frame > 3 && s.frame < 38)  // At the ends the speed is told less well.
      for (size_t i = 0; i < s.in_frame.size(); ++i) {
        const auto seen = f.motion.seen_between(s.frame, 5, s.in_reference[i]);
        ASSERT_TRUE(seen);
        worst = std::max(worst, (*seen - s.in_frame[i]).norm());
      }
  EXPECT_LT(worst, 0.02);
}

}  // namespace pw::readout_test
