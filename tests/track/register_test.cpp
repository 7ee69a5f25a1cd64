#include "track/register.h"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>

#include "tests/track/drawn.h"

namespace pw::register_test {

const std::vector<Point> kRegion = drawn::box(30, 25, 170, 135);

// Frame 1 is the plate; frame 2 the still, by a camera with a focal length 1.5 times as long, 10 degrees aside, in
// which the plane is seen in perspective and with another grade.
Matrix3 aside(double longer) {
  const double f = 300, angle = 10 * M_PI / 180;
  Matrix3 k, r, plane;
  k << f, 0, 100, 0, f, 80, 0, 0, 1;
  // A plane square to the plate's camera at distance 1, seen from a camera that went round its middle.
  r << std::cos(angle), 0, std::sin(angle), 0, 1, 0, -std::sin(angle), 0, std::cos(angle);
  const Eigen::Vector3d normal(0, 0, 1), middle(0, 0, 1);
  const Matrix3 view = r + (middle - r * middle) * normal.transpose();
  return normalised(scaling(longer, longer) * k * view * k.inverse());
}

struct Shot {
  drawn::Scene scene;
  Matrix3 grade = Matrix3::Identity();
  explicit Shot(double longer = 1.5) {
    scene.from = 1, scene.to = 2, scene.width = 200, scene.height = 160;
    scene.frame_from_plane = [longer](double t) { return t < 1.5 ? Matrix3(Matrix3::Identity()) : aside(longer); };
  }
  Picture plate() const { return scene.image(1); }
  Picture still(double longer = 1.5) const {
    drawn::Scene s = scene;
    s.width = int(200 * longer), s.height = int(160 * longer);
    const Picture p = s.image(2);
    Canvas c = Canvas::copy(p, p.window());
    for (int y = 0; y < s.height; ++y)
      for (int x = 0; x < s.width; ++x) {
        const float* q = p.at(x, y);
        const Eigen::Vector3d v = grade * Eigen::Vector3d(q[0], q[1], q[2]);
        for (int k = 0; k < 3; ++k) c.at(x, y)[k] = float(v[k]);
      }
    return std::move(c).finish();
  }
  double off(const Registration& r) const {
    const Matrix3 want = inverted(scene.frame_from_ref(2, 1));
    double worst = 0;
    for (const Point& p : kRegion) {
      const Point there = map(inverted(want), p);
      worst = std::max(worst, (map(r.plate_from_still, there) - p).norm());
    }
    return worst;
  }
};

Matrix3 warm_grade() {
  Matrix3 m;
  m << 1.25, 0.10, 0.02, 0.04, 0.85, 0.06, 0.00, 0.08, 0.6;
  return m;
}

TEST(Register, AStillFromAsideWithAnotherLensAndGrade) {
  Shot s;
  s.grade = warm_grade();
  const auto r = register_still(s.plate(), {}, s.still(), {.region = kRegion, .colour = ColourMatch::matrix}, serial());
  ASSERT_TRUE(r) << to_string(r.error());
  EXPECT_EQ(r->status, TrackStatus::good) << r->reason;
  EXPECT_LT(s.off(*r), 0.05);
  EXPECT_LT((r->colour * s.grade - Matrix3::Identity()).norm(), 0.05);
  ASSERT_EQ(r->corner_covariance.size(), 64u);
  EXPECT_LT(s.off(*r), 5 * std::sqrt(*std::max_element(r->corner_covariance.begin(), r->corner_covariance.end())));
}

TEST(Register, AMillionTimesTheLight) {
  Shot s;
  s.scene.scale = 1e6;
  s.grade.diagonal() << 0.5, 0.8, 0.9;
  const auto r = register_still(s.plate(), {}, s.still(), {.region = kRegion}, serial());
  ASSERT_TRUE(r) << to_string(r.error());
  EXPECT_LT(s.off(*r), 0.05);
  for (int c = 0; c < 3; ++c) EXPECT_NEAR(r->colour(c, c) * s.grade(c, c), 1, 0.01) << c;
}

TEST(Register, NoisyPictures) {
  Shot s;
  s.grade.diagonal() << 0.5, 0.8, 0.9;
  s.scene.grain = 0.02, s.scene.rounded = true;
  const auto r = register_still(s.plate(), {}, s.still(), {.region = kRegion}, serial());
  ASSERT_TRUE(r) << to_string(r.error());
  EXPECT_LT(s.off(*r), 0.2);
  for (int c = 0; c < 3; ++c) EXPECT_NEAR(r->colour(c, c) * s.grade(c, c), 1, 0.02) << c;
}

TEST(Register, PairsOfPointsStartItOrAreTheAnswer) {
  Shot s;
  RegisterOptions o{.region = kRegion};
  for (const Point& p : kRegion) {
    o.plate_points.push_back(p);
    o.still_points.push_back(map(s.scene.frame_from_ref(2, 1), p) + Point(1.5, -1));  // Clicked so badly.
  }
  const auto fitted = register_still(s.plate(), {}, s.still(), o, serial());
  ASSERT_TRUE(fitted) << to_string(fitted.error());
  EXPECT_LT(s.off(*fitted), 0.05);
  o.align = false;
  const auto taken = register_still(s.plate(), {}, s.still(), o, serial());
  ASSERT_TRUE(taken) << to_string(taken.error());
  EXPECT_NEAR(s.off(*taken), std::hypot(1.5, 1) / 1.5, 0.3);
  EXPECT_LT(taken->residual, 1e-9);
  EXPECT_TRUE(taken->corner_covariance.empty()) << "nothing tells it";
}

TEST(Register, AStillOfSomethingElseIsRefused) {
  Shot s;
  drawn::Scene other = s.scene;
  other.paint = [](double x, double y, float* rgb) { drawn::texture(x + 5000, 3000 - 1.7 * y, rgb); };
  const auto r = register_still(s.plate(), {}, other.image(2), {.region = kRegion}, serial());
  ASSERT_FALSE(r);
  EXPECT_EQ(to_string(r.error()).find("the plane was not found in the still") != std::string::npos ||
                to_string(r.error()).find("of the texture agrees with the plate") != std::string::npos,
            true)
      << to_string(r.error());
}

TEST(Register, MistakesInWords) {
  Shot s;
  const Picture plate = s.plate(), still = s.plate();
  const auto said = [&](const RegisterOptions& o) {
    const auto r = register_still(plate, {}, still, o, serial());
    return r ? std::string("no problem") : r.error().front().what + "; " + r.error().front().remedy;
  };
  EXPECT_EQ(said({.region = {{1, 1}, {50, 1}, {50, 50}}}), "the region has 3 corners; a plane needs 4 or more");
  EXPECT_EQ(
      said({.region = kRegion, .still_points = {{1, 1}}}),
      "there are 1 points of the still and 0 of the plate; give them in pairs: the same place in both, in the same "
      "order");
  EXPECT_EQ(said({.region = kRegion, .still_points = {{1, 1}}, .plate_points = {{1, 1}}}),
            "1 pairs of points do not fix where the still lies; give 4 or more");
  const std::vector<Point> line{{10, 10}, {20, 20}, {30, 30}, {90, 10}};
  EXPECT_EQ(said({.region = kRegion, .still_points = line, .plate_points = line}),
            "the pairs of points do not fix where the still lies; spread them over the plane, no three on a line, and "
            "see that each pair is the same place");
  EXPECT_EQ(said({.region = kRegion, .align = false}),
            "there are no pairs of points; give 4 or more, or let it be aligned");
  EXPECT_EQ(said({.region = drawn::box(500, 25, 700, 135)}),
            "less than 12 x 12 pixels of the region lie in the plate; draw it over the reference frame");
  s.scene.paint = [](double, double, float* rgb) { std::fill_n(rgb, 3, 0.2f); };
  const auto flat = register_still(s.plate(), {}, s.plate(), {.region = kRegion}, serial());
  ASSERT_FALSE(flat);
  EXPECT_EQ(flat.error().front().what, "the plane was not found in the still");
  EXPECT_EQ(flat.error().front().remedy,
            "give 4 or more pairs of points: the same places in the still and in the plate");
}

struct Colours {
  std::vector<Eigen::Vector3d> still, plate;
  Colours(const Matrix3& m, double unit, double noise, double outliers, int count = 400) {
    for (int i = 0; i < count; ++i) {
      const RandomBits b = random_bits(21, i, 0, 0), g = random_bits(22, i, 0, 0);
      const Eigen::Vector3d s(0.02 + uniform(b[0]), 0.02 + uniform(b[1]), 0.02 + uniform(b[2]));
      const Eigen::Vector3d n(gauss(g[0], g[1])[0], gauss(g[0], g[1])[1], gauss(g[2], g[3])[0]);
      still.push_back(s * unit);
      plate.push_back(unit * (uniform(b[3]) < outliers ? Eigen::Vector3d(0.9, 0.1, 0.4) : m * s + noise * n));
    }
  }
};

TEST(MatchColour, ExactScaledNoisyAndWithOutliers) {
  for (double unit : {1.0, 1e6, 1e-6}) {
    const Colours exact(warm_grade(), unit, 0, 0.3);
    const auto m = match_colour(exact.still, exact.plate, ColourMatch::matrix);
    ASSERT_TRUE(m);
    EXPECT_LT((*m - warm_grade()).norm(), 1e-6);
    Matrix3 gains = Matrix3::Zero();
    gains.diagonal() << 2, 0.7, 1.1;
    const Colours gained(gains, unit, 0, 0.3);
    const auto g = match_colour(gained.still, gained.plate, ColourMatch::gain);
    ASSERT_TRUE(g);
    EXPECT_LT((*g - gains).norm(), 1e-6);
  }
  const Colours noisy(warm_grade(), 1, 0.01, 0.2);
  EXPECT_LT((*match_colour(noisy.still, noisy.plate, ColourMatch::matrix) - warm_grade()).norm(), 0.02);
}

TEST(MatchColour, TooLittleGivesNoModel) {
  const Colours few(warm_grade(), 1, 0, 0, 7);
  EXPECT_FALSE(match_colour(few.still, few.plate, ColourMatch::gain));
  Colours grey(Matrix3::Identity(), 1, 0, 0);
  for (auto& s : grey.still) s = Eigen::Vector3d::Constant(s[0]);
  EXPECT_FALSE(match_colour(grey.still, grey.still, ColourMatch::matrix));
  EXPECT_TRUE(match_colour(grey.still, grey.still, ColourMatch::gain));
  for (auto& s : grey.still) s.setZero();
  EXPECT_FALSE(match_colour(grey.still, grey.still, ColourMatch::gain));
  grey.still[3][1] = std::nan("");
  EXPECT_FALSE(match_colour(grey.still, grey.plate, ColourMatch::gain));
}

}  // namespace pw::register_test
