#include "track/rectified.h"

#include <gtest/gtest.h>

#include <map>

#include "tests/track/drawn.h"
#include "track/readout.h"
#include "track/score.h"

namespace pw::rectified_test {

// Footage of a plane through a lens, rows one after the other, and where corners are seen: by formula, with nothing of
// the project's lens.
struct Bent final : PlaneFrames {
  int width = 200, height = 160, from = 1, to = 4;
  double k1 = 0, k2 = 0, readout = 0, grain = 0, scale = 1;
  std::function<Matrix3(double t)> frame_from_plane = [](double t) { return drawn::handheld(t - 1); };

  int first() const override { return from; }
  int last() const override { return to; }
  double shutter_deg() const override { return 0; }
  // The ideal point that is seen at p, by repeated division.
  Point ideal(const Point& p) const {
    const Point c(width / 2.0, height / 2.0), d = p - c;
    const double q = d.squaredNorm() / (0.25 * (width * width + height * height));
    double s = 1;
    for (int i = 0; i < 14; ++i) s = 1 + k1 * q / (s * s) + k2 * q * q / (s * s * s * s);
    return c + d / s;
  }
  double time(int frame, double y) const { return frame + readout * (y / height - 0.5); }
  Point plane(int frame, const Point& p) const { return map(inverted(frame_from_plane(time(frame, p.y()))), ideal(p)); }
  // Where a point of the plane is seen: by going against what is missing.
  Point seen(int frame, const Point& on_plane, Point guess) const {
    for (int i = 0; i < 60; ++i) {
      const Matrix3 h = frame_from_plane(time(frame, guess.y()));
      guess += map(h, on_plane) - ideal(guess);
    }
    return guess;
  }
  // Drawn once, however often it is asked for.
  mutable std::map<int, Picture> drawn_once;
  Picture image(int frame) const override {
    const auto [it, fresh] = drawn_once.try_emplace(frame);
    if (fresh) it->second = draw(frame);
    return it->second;
  }
  Picture draw(int frame) const {
    Canvas c(Rect::sized(width, height), 3);
    for (int y = 0; y < height; ++y)
      for (int x = 0; x < width; ++x) {
        double sum[3] = {0, 0, 0};
        for (int k = 0; k < 16; ++k) {
          const auto at = [](int i) { return (i / 2 + (i % 2 ? 0.7886751346 : 0.2113248654)) / 2; };
          const Point p = plane(frame, {x + at(k % 4), y + at(k / 4)});
          float rgb[3];
          drawn::texture(p.x(), p.y(), rgb);
          for (int q = 0; q < 3; ++q) sum[q] += rgb[q] / 16;
        }
        const RandomBits b = random_bits(7, frame, x, y);
        for (int q = 0; q < 3; ++q) {
          const double noise = q < 2 ? gauss(b[0], b[1])[q] : gauss(b[2], b[3])[0];
          const double v = grain > 0 ? drawn::decode(std::max(0.0, drawn::encode(sum[q]) + grain * noise)) : sum[q];
          c.at(x, y)[q] = float(scale * v);
        }
      }
    return std::move(c).finish();
  }
  Motion truth(int reference, const std::vector<Point>& region) const {
    Motion m{width, height, reference, region, {}};
    for (int f = from; f <= to; ++f) {
      Pose p{.frame = f};
      for (const Point& c : region) p.corners.push_back(seen(f, plane(reference, c), c));
      m.poses.push_back(std::move(p));
    }
    return m;
  }
};

Motion tracked(const Bent& scene, const BentOptions& options) {
  int last = 0, all = 0;
  const auto m = track_bent(scene, options, serial(), [&](int done, int total) {
    EXPECT_GT(done, last);  // Through all passes.
    last = done, all = total;
    return true;
  });
  EXPECT_EQ(last, all);
  EXPECT_TRUE(m) << (m ? "" : to_string(m.error()));
  return m ? *m : Motion{};
}

TEST(Rectified, ALensThatIsGiven) {
  const auto region = drawn::box(20, 18, 170, 130);
  for (const auto& [k1, k2] : {std::pair{-0.15, 0.0}, std::pair{0.12, -0.02}}) {
    Bent s;
    s.k1 = k1, s.k2 = k2, s.to = 3;
    BentOptions o{.plane = {.reference = 1, .region = region}, .lens = {k1, k2}};
    const TrackScore r = score(tracked(s, o), s.truth(1, region));
    EXPECT_EQ(r.lost, 0);
    EXPECT_LT(r.worst_px, 0.02);
    o.lens = {};
    EXPECT_GT(score(tracked(s, o), s.truth(1, region)).worst_px, 0.06);
  }
}

TEST(Rectified, ACornerTheLensDoesNotSee) {
  Bent s;
  s.to = 2;
  const auto m =
      track_bent(s, {.plane = {.reference = 1, .region = drawn::box(0, 0, 150, 120)}, .lens = {-0.2, 0}}, serial());
  ASSERT_FALSE(m);
  EXPECT_EQ(m.error()[0].what, "the lens sees nothing at the region's corner 0, 0");
}

TEST(Rectified, CornersAreFixedWhereTheyAreSeen) {
  const auto region = drawn::box(20, 18, 170, 130);
  Bent s;
  s.k1 = -0.15;
  BentOptions o{.plane = {.reference = 1, .region = region}, .lens = {s.k1, 0}};
  FixedCorners fixed{3, s.truth(1, region).find(3)->corners, "c.csv", 2};
  for (size_t i = 0; i < 4; ++i) fixed.corners[i] += Point(0.3 * std::cos(2.0 * i), 0.3 * std::sin(2.0 * i));
  o.plane.fixed = {fixed};
  const Motion m = tracked(s, o);
  for (size_t i = 0; i < 4; ++i) {
    const auto seen = m.seen_between(3, 1, region[i]);
    ASSERT_TRUE(seen);
    EXPECT_LT((*seen - fixed.corners[i]).norm(), 1e-9);
  }
  const TrackScore r = score(m, s.truth(1, region));
  EXPECT_NEAR(r.frames[0].rms_px, 0.15, 0.03);  // Half of the way to what is fixed.
  EXPECT_NEAR(r.frames[2].rms_px, 0.3, 0.03);   // And on with it.

  const auto refused = [&](const BentOptions& options) {
    const auto none = track_bent(s, options, serial());
    return none ? std::string("tracked") : to_string(none.error()[0]);
  };
  o.lens = {-0.2, 0};
  o.plane.fixed[0].corners[0] = {0, 0};
  EXPECT_EQ(refused(o),
            "c.csv:2: the lens sees nothing at 0, 0, where a corner is fixed on frame 3; fix another frame, or give a "
            "weaker lens");
  o.readout = 0.4;
  EXPECT_EQ(refused(o),
            "corners cannot be fixed where rows are read one after the other; take the corrections out, or the "
            "readout");
}

TEST(Rectified, RowsOneAfterTheOther) {
  Bent s;
  s.width = 120, s.height = 96, s.readout = 0.6, s.to = 13;
  s.frame_from_plane = [](double t) {
    return Matrix3(drawn::handheld(0.3 * (t - 1), 60, 48) *
                   translation(7 * std::sin(0.9 * t) + 3 * std::sin(0.41 * t), 5 * std::cos(0.8 * t + 1) - 0.3 * t));
  };
  const auto region = drawn::box(26, 22, 96, 76);
  const Motion truth = s.truth(4, region);
  const Motion m = tracked(s, {.plane = {.reference = 4, .region = region}, .find_readout = true});
  const TrackScore found = score(m, truth);
  EXPECT_EQ(found.lost, 0);
  EXPECT_LT(found.rms_px, 0.05);
  EXPECT_GT(m.readout_sd, 0);
  EXPECT_NEAR(m.readout, 0.6, std::max(0.02, 3 * m.readout_sd));
}

}  // namespace pw::rectified_test
