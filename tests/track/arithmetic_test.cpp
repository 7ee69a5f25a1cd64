#include "track/arithmetic.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>
#include <functional>

#include "base/random.h"

namespace pw::arithmetic_test {

constexpr double kScales[] = {1, 1e6};

Matrix3 turn_about(const Point& p, double degrees, double scale) {
  const double a = degrees * M_PI / 180;
  Matrix3 m = Matrix3::Identity();
  m.topLeftCorner<2, 2>() << scale * std::cos(a), -scale * std::sin(a), scale * std::sin(a), scale * std::cos(a);
  return translation(p.x(), p.y()) * m * translation(-p.x(), -p.y());
}

// Motion of a box of `size` about `middle`: a drift, turn, growth and tilt, each known. All lengths times `unit`.
Motion motion(const Point& middle, double pace, double unit) {
  Motion m{int(640 * std::min(unit, 100.0)), int(480 * std::min(unit, 100.0)), 3, {}, {}};
  for (const Point& d : {Point(-60, -40), Point(60, -40), Point(60, 40), Point(-60, 40)})
    m.region.push_back((middle + d) * unit);
  for (int f = 1; f <= 6; ++f) {
    const double t = pace * (f - 3);
    Matrix3 tilt = Matrix3::Identity();
    tilt(2, 0) = 1e-4 * t, tilt(2, 1) = -7e-5 * t, tilt(0, 1) = 0.03 * t;
    const Matrix3 h = translation(5 * t, -3 * t) * turn_about(middle, 4 * t, 1 + 0.05 * t) *
                      translation(middle.x(), middle.y()) * tilt * translation(-middle.x(), -middle.y());
    m.poses.push_back({f, normalised(scaling(unit, unit) * h * scaling(1 / unit, 1 / unit))});
  }
  return m;
}

double apart(const Matrix3& a, const Matrix3& b, const std::vector<Point>& at) {
  double most = 0;
  for (const Point& p : at) most = std::max(most, (map(a, p) - map(b, p)).norm());
  return most;
}

TEST(Arithmetic, PartsOfAKnownTransform) {
  for (double unit : kScales) {
    const Point p = Point(200, 150) * unit, moved = Point(31, -12) * unit;
    const Matrix3 shift = translation(moved.x(), moved.y());
    const Matrix3 h = shift * turn_about(p, 25, 1.3);
    const std::vector<Point> at{p, p + Point(100, 0) * unit, p + Point(0, 80) * unit};
    const auto only = [&](const Parts& parts) { return *kept(normalised(h), p, parts); };
    EXPECT_LT(apart(only({true, false, false, false}), shift, at), 1e-10 * unit);
    EXPECT_LT(apart(only({false, true, false, false}), turn_about(p, 25, 1), at), 1e-10 * unit);
    EXPECT_LT(apart(only({false, false, true, false}), turn_about(p, 0, 1.3), at), 1e-10 * unit);
    EXPECT_LT(apart(only({false, false, false, true}), Matrix3::Identity(), at), 1e-10 * unit);
    EXPECT_LT(apart(only({true, false, true, true}), shift * turn_about(p, 0, 1.3), at), 1e-10 * unit);
  }
}

TEST(Arithmetic, PerspectiveIsTheRest) {
  const Point p(200, 150);
  Matrix3 tilt = Matrix3::Identity();
  tilt(2, 0) = 1e-3;
  const Matrix3 h = translation(p.x(), p.y()) * tilt * translation(-p.x(), -p.y());
  EXPECT_LT(apart(*kept(normalised(h), p, {false, false, false, true}), h, {{100, 100}, {300, 200}}), 1e-10);
  EXPECT_LT(apart(*kept(normalised(h), p, {true, true, true, false}), Matrix3::Identity(), {{100, 100}, {300, 200}}),
            1e-10);
}

TEST(Arithmetic, NoPartsOfWhatMirrorsOrIsBeyondInfinity) {
  EXPECT_FALSE(kept(scaling(-1, 1), {5, 5}, {}));
  EXPECT_FALSE(kept(scaling(0, 1), {5, 5}, {}));
  Matrix3 far = Matrix3::Identity();
  far(2, 0) = -0.01;
  EXPECT_FALSE(kept(far, {100, 0}, {}));
  EXPECT_FALSE(kept(far, {150, 0}, {}));
  far(0, 0) = std::nan("");
  EXPECT_FALSE(kept(far, {10, 0}, {}));
}

TEST(Arithmetic, RelativeThenOntoIsTheMotionItself) {
  for (double unit : kScales) {
    const Motion a = motion({200, 150}, 1, unit), b = motion({400, 300}, -0.7, unit);
    const auto relative = derived(a, &b, nullptr, {});
    ASSERT_TRUE(relative);
    for (size_t i = 0; i < a.poses.size(); ++i) {
      const Matrix3 want = b.poses[i].frame_from_ref.inverse() * a.poses[i].frame_from_ref;
      EXPECT_LT(apart(relative->poses[i].frame_from_ref, want, a.region), 1e-9 * unit);
    }
    const auto back = derived(*relative, nullptr, &b, {});
    ASSERT_TRUE(back);
    for (size_t i = 0; i < a.poses.size(); ++i)
      EXPECT_LT(apart(back->poses[i].frame_from_ref, a.poses[i].frame_from_ref, a.region), 1e-9 * unit);
  }
}

TEST(Arithmetic, AnotherReferenceOfWhatItIsHeldAgainstMakesNoDifference) {
  const Motion a = motion({200, 150}, 1, 1), b = motion({400, 300}, -0.7, 1);
  Motion moved = b;
  moved.reference = 5;
  const Matrix3 five_from_three = b.poses[4].frame_from_ref;
  for (Point& p : moved.region) p = map(five_from_three, p);
  for (Pose& p : moved.poses) p.frame_from_ref = normalised(p.frame_from_ref * five_from_three.inverse());
  const auto one = derived(a, &b, nullptr, {}), other = derived(a, &moved, nullptr, {});
  ASSERT_TRUE(one && other);
  for (size_t i = 0; i < a.poses.size(); ++i)
    EXPECT_LT(apart(one->poses[i].frame_from_ref, other->poses[i].frame_from_ref, a.region), 1e-9);
}

TEST(Arithmetic, InverseTwiceIsTheMotion) {
  const Motion a = motion({200, 150}, 1, 1);
  const auto once = derived(a, nullptr, nullptr, {.inverse = true});
  ASSERT_TRUE(once);
  EXPECT_LT(apart(once->poses[5].frame_from_ref, a.poses[5].frame_from_ref.inverse(), a.region), 1e-9);
  const auto twice = derived(*once, nullptr, nullptr, {.inverse = true});
  for (size_t i = 0; i < a.poses.size(); ++i)
    EXPECT_LT(apart(twice->poses[i].frame_from_ref, a.poses[i].frame_from_ref, a.region), 1e-9);
}

// A sign elsewhere turns as the door turns, about its own middle, and is carried by the wall.
TEST(Arithmetic, AThingTurnsWithATrackedThingElsewhere) {
  const Motion wall = motion({320, 240}, 0.5, 1);
  Motion door = motion({100, 100}, 1, 1);
  for (Pose& p : door.poses)
    p.frame_from_ref = normalised(wall.find(p.frame)->frame_from_ref * turn_about({100, 100}, 7.0 * (p.frame - 3), 1));
  const Point sign(500, 200);
  const auto made =
      derived(door, &wall, &wall, {.keep = {false, true, false, false}, .about = Point(100, 100), .place = sign});
  ASSERT_TRUE(made);
  for (const Pose& p : made->poses) {
    const Matrix3 want = wall.find(p.frame)->frame_from_ref * turn_about(sign, 7.0 * (p.frame - 3), 1);
    EXPECT_LT(apart(p.frame_from_ref, want, {sign, sign + Point(40, 10)}), 1e-9) << p.frame;
  }
  EXPECT_LT((made->region[0] - (door.region[0] + sign - Point(100, 100))).norm(), 1e-12);
}

// The corners of 4000 motions drawn with the given covariance vary as the result says.
TEST(Arithmetic, CovarianceIsCarriedOver) {
  Motion a = motion({200, 150}, 1, 1), b = motion({300, 250}, -0.7, 1);
  const auto spread = [](Motion& m, double px) {
    Eigen::MatrixXd root = Eigen::MatrixXd::Identity(8, 8) * px;
    root(3, 0) = 0.5 * px, root(6, 2) = -0.7 * px;
    const Eigen::MatrixXd c = root * root.transpose();
    m.poses[4].corner_covariance.assign(c.data(), c.data() + 64);
    return root;
  };
  const Eigen::MatrixXd root_a = spread(a, 0.05), root_b = spread(b, 0.08);
  const auto disturbed = [](const Motion& m, const Eigen::MatrixXd& root, int draw, uint32_t lane) {
    Eigen::VectorXd n(8);
    for (int k = 0; k < 8; k += 2) {
      const RandomBits r = random_bits(5, draw, k, 0, lane);
      const auto pair = gauss(r[0], r[1]);
      n[k] = pair[0], n[k + 1] = pair[1];
    }
    const Eigen::VectorXd d = root * n;
    Quad from = corner_quad(m.region), to = from;
    for (int k = 0; k < 4; ++k) to[k] = map(m.poses[4].frame_from_ref, from[k]) + Point(d[2 * k], d[2 * k + 1]);
    Motion out = m;
    out.poses[4].frame_from_ref = *homography(from, to);
    return out;
  };
  for (const Arithmetic& how :
       {Arithmetic{}, Arithmetic{.keep = {true, true, false, false}, .inverse = true, .place = Point(90, 80)}}) {
    const auto made = derived(a, &b, nullptr, how);
    ASSERT_TRUE(made);
    ASSERT_EQ(made->poses[4].corner_covariance.size(), 64u);
    EXPECT_TRUE(made->poses[3].corner_covariance.empty()) << "it is not known there";
    const auto said = Eigen::Map<const Eigen::MatrixXd>(made->poses[4].corner_covariance.data(), 8, 8);
    Eigen::MatrixXd seen = Eigen::MatrixXd::Zero(8, 8);
    constexpr int kDraws = 4000;
    for (int i = 0; i < kDraws; ++i) {
      Motion one = disturbed(a, root_a, i, 1), two = disturbed(b, root_b, i, 2);
      one.poses = {one.poses[2], one.poses[4]}, two.poses = {two.poses[2], two.poses[4]};
      const auto got = derived(one, &two, nullptr, how);
      Eigen::VectorXd d(8);
      for (int k = 0; k < 4; ++k)
        d.segment<2>(2 * k) =
            map(got->poses[1].frame_from_ref, made->region[k]) - map(made->poses[4].frame_from_ref, made->region[k]);
      seen += d * d.transpose() / kDraws;
    }
    EXPECT_LT((seen - said).norm(), 0.06 * said.norm());
  }
}

TEST(Arithmetic, StatusIsTheWorstAndSaysWhy) {
  Motion a = motion({200, 150}, 1, 1), b = motion({400, 300}, -0.7, 1);
  a.poses[0].status = TrackStatus::weak, a.poses[0].reason = "little texture", a.poses[0].residual = 0.02;
  b.poses[0].status = TrackStatus::hidden, b.poses[0].reason = "hidden by 80 %", b.poses[0].residual = 0.01;
  b.poses[1].status = TrackStatus::lost, b.poses[1].reason = "no answer";
  b.poses.pop_back();
  const auto made = derived(a, &b, nullptr, {});
  ASSERT_TRUE(made);
  EXPECT_EQ(made->poses[0].status, TrackStatus::hidden);
  EXPECT_EQ(made->poses[0].reason, "hidden by 80 %");
  EXPECT_EQ(made->poses[0].residual, 0.02);
  EXPECT_EQ(made->poses[1].status, TrackStatus::lost);
  EXPECT_EQ(made->poses[1].reason, "no answer");
  EXPECT_EQ(made->poses[2].status, TrackStatus::good);
  EXPECT_EQ(made->poses[5].status, TrackStatus::lost);
  EXPECT_EQ(made->poses[5].reason, "the motion it is held against does not have this frame");
}

TEST(Arithmetic, EdgeOnIsLost) {
  Motion a = motion({200, 150}, 1, 1);
  a.poses[5].frame_from_ref = scaling(-1, 1);
  const auto made = derived(a, nullptr, nullptr, {});
  ASSERT_TRUE(made);
  EXPECT_EQ(made->poses[5].status, TrackStatus::lost);
  EXPECT_EQ(made->poses[5].reason, "seen from there the thing is edge-on or mirrored");
}

TEST(Arithmetic, ProblemsInWords) {
  const Motion a = motion({200, 150}, 1, 1);
  Motion b = motion({400, 300}, -0.7, 1);
  b.poses[2].status = TrackStatus::lost;
  auto made = derived(a, &b, nullptr, {});
  ASSERT_FALSE(made);
  EXPECT_EQ(made.error().front().what, "the motion it is held against is not known at frame 3, the reference");
  EXPECT_EQ(made.error().front().remedy, "use a reference frame that both motions know");
  b.width = 320;
  made = derived(a, nullptr, &b, {});
  ASSERT_FALSE(made);
  EXPECT_EQ(made.error().front().what,
            "the motion it is put onto is of a plate of 320x480, the motion of one of 640x480");
  EXPECT_EQ(made.error().front().remedy, "use motions of one plate");
}

Motion path(int count, double unit, const std::function<Point(int)>& at) {
  Motion m{640, 480, 1, {{10 * unit, 0}, {90 * unit, 0}, {90 * unit, 50 * unit}, {10 * unit, 50 * unit}}, {}};
  for (int f = 1; f <= count; ++f) m.poses.push_back({f, translation(at(f).x() * unit, at(f).y() * unit)});
  return m;
}

TEST(Calmed, SteadyMotionStaysToTheEnds) {
  for (double unit : kScales) {
    const Motion m = path(30, unit, [](int f) { return Point(2.5 * f, -0.5 * f); });
    for (int f : {1, 2, 15, 30})
      EXPECT_LT(apart(*calmed(m, f, 11), m.find(f)->frame_from_ref, m.region), 1e-9 * unit) << f;
  }
}

TEST(Calmed, TremorGoesSlowMotionStays) {
  const Motion m = path(60, 1, [](int f) { return Point(2 * f + (f % 2 ? 1.0 : -1.0), 0); });
  for (int f = 12; f <= 48; ++f) EXPECT_NEAR(map(*calmed(m, f, 20), {0, 0}).x(), 2 * f, 0.01) << f;
  EXPECT_EQ(*calmed(m, 9, 2), m.find(9)->frame_from_ref) << "no other frame is in the window";
}

TEST(Calmed, NoiseBecomesLess) {
  const Motion m = path(200, 1, [](int f) {
    const RandomBits b = random_bits(8, f, 0, 0);
    return Point(gauss(b[0], b[1])[0], gauss(b[0], b[1])[1]);
  });
  double before = 0, after = 0;
  for (int f = 20; f <= 180; ++f)
    before += map(m.find(f)->frame_from_ref, {0, 0}).squaredNorm(),
        after += map(*calmed(m, f, 24), {0, 0}).squaredNorm();
  // Weights of that window leave sum(w^2) / sum(w)^2 = 0.072 of the variance.
  EXPECT_NEAR(after / before, 0.072, 0.03);
}

TEST(Calmed, LostFramesAreLeftOutAndHaveNoAnswer) {
  Motion m = path(20, 1, [](int f) { return Point(3.0 * f, f); });
  m.poses[9].status = TrackStatus::lost;
  m.poses[9].frame_from_ref.setConstant(777);
  EXPECT_FALSE(calmed(m, 10, 9));
  EXPECT_LT(apart(*calmed(m, 11, 9), m.find(11)->frame_from_ref, m.region), 1e-9);
  EXPECT_FALSE(calmed(m, 40, 9));
  for (size_t i = 0; i < m.poses.size(); ++i) m.poses[i].status = i == 4 ? TrackStatus::good : TrackStatus::lost;
  EXPECT_LT(apart(*calmed(m, 5, 9), m.find(5)->frame_from_ref, m.region), 1e-9) << "one frame alone stays";
}

}  // namespace pw::arithmetic_test
