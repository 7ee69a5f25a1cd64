// Frames and one clean texture solved for together (PlaneOptions::refine).
#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>

#include "tests/track/drawn_bent.h"
#include "track/rectified.h"
#include "track/score.h"

namespace pw::refine_test {

using drawn::Scene;
const std::vector<Point> kRegion = drawn::box(50, 40, 150, 120);

// Grain is drawn by the frames' numbers: each take has its own.
Scene swaying(int take = 0, int last = 16) {
  Scene s;
  s.from = 1 + 100 * take, s.to = last + 100 * take, s.fine = 1;
  s.frame_from_plane = [take](double t) { return drawn::handheld(2.5 * std::sin((t - 1 - 100 * take) / 3)); };
  return s;
}

// Frames that are drawn once, however often they are asked for.
struct Kept final : PlaneFrames {
  std::vector<Picture> pictures;
  int from;
  explicit Kept(const Scene& s) : from(s.from) {
    for (int f = s.from; f <= s.to; ++f) pictures.push_back(s.image(f));
  }
  int first() const override { return from; }
  int last() const override { return from + int(pictures.size()) - 1; }
  Picture image(int f) const override { return pictures[size_t(f - from)]; }
  double shutter_deg() const override { return 0; }
};

PlaneOptions options(const PlaneFrames& frames, bool refine = true) {
  return {.reference = frames.first(), .region = kRegion, .refine = refine, .keep_clean = false};
}

Motion tracked(const PlaneFrames& frames, const PlaneOptions& o, const Runner& runner = serial()) {
  const auto m = track_plane(frames, o, runner);
  EXPECT_TRUE(m) << (m ? "" : to_string(m.error()));
  return m ? *m : Motion{};
}

// Errors of the corners: mean squares, and how they compare with what is stated (e' C^-1 e / 8).
struct Errors {
  double all = 0, spread = 0;  // px^2; the second about what all frames have in common.
  double nees = 0;
};
Errors errors(const Motion& m, const Scene& s) {
  using Vector = Eigen::Matrix<double, 8, 1>;
  Errors out;
  std::vector<Vector> in_reference;
  Vector mean = Vector::Zero();
  for (const Pose& p : m.poses) {
    if (p.frame == m.reference) continue;
    const Matrix3 truth = s.frame_from_ref(p.frame, m.reference);
    Vector e, r;
    for (int k = 0; k < 4; ++k) {
      e.segment<2>(2 * k) = map(p.frame_from_ref, kRegion[k]) - map(truth, kRegion[k]);
      r.segment<2>(2 * k) = map(truth.inverse() * p.frame_from_ref, kRegion[k]) - kRegion[k];
    }
    const Eigen::Map<const Eigen::Matrix<double, 8, 8>> c(p.corner_covariance.data());
    out.nees += e.dot(c.ldlt().solve(e)) / 8;
    out.all += e.squaredNorm() / 4;
    in_reference.push_back(r), mean += r;
  }
  const auto n = double(in_reference.size());
  for (const Vector& r : in_reference) out.spread += (r - mean / n).squaredNorm() / (4 * n);
  out.all /= n, out.nees /= n;
  return out;
}

// Of some takes; `change` may spoil frames. What all frames of a take have in common is as many samples as there are
// takes: few, so that figures with it are held loosely.
struct Compared {
  Errors plain, refined;
};
Compared compared(const std::function<Scene(int take)>& scene,
                  const std::function<void(Kept&, int take)>& change = {}) {
  constexpr int kTakes = 3;
  Compared sum;
  for (int take = 0; take < kTakes; ++take) {
    const Scene s = scene(take);
    Kept frames(s);
    if (change) change(frames, take);
    for (bool refine : {false, true}) {
      const Errors e = errors(tracked(frames, options(frames, refine)), s);
      Errors& to = refine ? sum.refined : sum.plain;
      to.all += e.all / kTakes, to.spread += e.spread / kTakes, to.nees += e.nees / kTakes;
    }
  }
  return sum;
}

double share(double refined, double plain) { return std::sqrt(refined / plain); }

Scene fine_and_noisy(int take) {
  Scene s = swaying(take);
  s.grain = 0.06, s.rounded = true;
  s.paint = [](double x, double y, float* rgb) { drawn::texture(2.2 * x, 2.2 * y, rgb); };
  return s;
}

TEST(Refine, StrongNoise) {
  const Compared c = compared(fine_and_noisy);
  EXPECT_LT(share(c.refined.all, c.plain.all), 0.95);
  EXPECT_LT(share(c.refined.spread, c.plain.spread), 0.9);
  EXPECT_GT(c.refined.nees, 0.35);
  EXPECT_LT(c.refined.nees, 2);
}

TEST(Refine, ReferenceNoisierThanTheRest) {
  const auto scene = [](int take) {
    Scene s = swaying(take);
    s.grain = 0.02;
    return s;
  };
  const Compared c = compared(scene, [&](Kept& frames, int take) {
    Scene noisy = scene(take);
    noisy.grain = 0.06;
    frames.pictures[0] = noisy.image(noisy.from);
  });
  EXPECT_LT(share(c.refined.all, c.plain.all), 0.98);
  EXPECT_LT(share(c.refined.spread, c.plain.spread), 0.8);
  EXPECT_GT(c.refined.nees, 0.5);
  EXPECT_LT(c.refined.nees, 2);
}

Scene too_noisy(int take) {
  Scene s = fine_and_noisy(take);
  s.grain = 0.1;
  return s;
}

// A reference whose grain hides its texture is made clean without being asked for it; one that shows it well is not.
TEST(Refine, HeavyGrainIsTakenOutOfTheReference) {
  double plain = 0, clean = 0;
  for (int take = 0; take < 3; ++take) {
    const Scene s = too_noisy(take);
    const Kept frames(s);
    PlaneOptions o = options(frames, false);
    plain += errors(tracked(frames, o), s).spread;
    o.keep_clean = true;
    const Errors e = errors(tracked(frames, o), s);
    clean += e.spread;
    EXPECT_LT(e.nees, 2);
  }
  EXPECT_LT(share(clean, plain), 0.95);
}

TEST(Refine, AReferenceWithLittleGrainStaysAsItIs) {
  Scene s = swaying();
  s.grain = 0.005;
  const Kept frames(s);
  PlaneOptions o = options(frames, false);
  const Motion plain = tracked(frames, o);
  o.keep_clean = true;
  EXPECT_EQ(score(tracked(frames, o), plain).worst_px, 0);
}

// Too few frames for a texture: nothing is asked of the person, and nothing changes.
TEST(Refine, HeavyGrainInFewFrames) {
  Kept frames(too_noisy(0));
  frames.pictures.resize(3);
  PlaneOptions o = options(frames, false);
  const Motion plain = tracked(frames, o);
  o.keep_clean = true;
  EXPECT_EQ(score(tracked(frames, o), plain).worst_px, 0);
}

TEST(Refine, ExactFootageStaysExact) {
  const Scene s = swaying();
  const Kept frames(s);
  EXPECT_LT(score(tracked(frames, options(frames)), s.truth(1, kRegion)).worst_px, 1e-3);
}

TEST(Refine, WhatPassesInFront) {
  const Compared c = compared([](int take) {
    Scene s = swaying(take);
    s.grain = 0.03;
    s.cover = [take](double t, double x, double y, float* rgb) {
      const double left = 20 + 8 * (t - 100 * take);
      if (x < left || x > left + 35) return false;
      drawn::texture(3 * (x - left) + 700, y * 2 - 300, rgb);
      return true;
    };
    return s;
  });
  EXPECT_LT(share(c.refined.all, c.plain.all), 0.95);
  EXPECT_LT(c.refined.nees, 2);
}

TEST(Refine, BadFrameAmongTheGood) {
  Scene s = swaying();
  s.grain = 0.03;
  Kept with(s), without(s);
  s.paint = [](double x, double y, float* rgb) { drawn::texture(1.1 * y + 5000, 0.9 * x - 3000, rgb); };
  with.pictures[5] = s.image(6);  // Another place of the same wallpaper.
  without.pictures[5] = Picture();
  const Motion a = tracked(with, options(with)), b = tracked(without, options(without));
  EXPECT_NE(a.find(6)->status, TrackStatus::good);
  for (const Pose& p : a.poses) {
    if (p.frame == 6) continue;
    EXPECT_EQ(p.status, TrackStatus::good) << p.frame;
    EXPECT_LT((map(p.frame_from_ref, kRegion[0]) - map(b.find(p.frame)->frame_from_ref, kRegion[0])).norm(), 0.01);
  }
}

TEST(Refine, CorrectedFramesStayExact) {
  Scene s = swaying();
  s.grain = 0.02;
  const Kept frames(s);
  PlaneOptions o = options(frames);
  FixedCorners fixed{9, {}};
  for (size_t i = 0; i < 4; ++i)
    fixed.corners.push_back(map(s.frame_from_ref(9, 1), kRegion[i]) +
                            0.6 * Point(std::sin(2.0 * i), std::cos(3.0 * i)));
  o.fixed = {fixed};
  const Motion m = tracked(frames, o);
  for (size_t i = 0; i < 4; ++i)
    EXPECT_LT((map(m.find(9)->frame_from_ref, kRegion[i]) - fixed.corners[i]).norm(), 1e-9);
  EXPECT_EQ(m.find(1)->frame_from_ref, Matrix3(Matrix3::Identity()));
  for (const FrameScore& f : score(m, s.truth(1, kRegion)).frames) EXPECT_LT(f.rms_px, 0.7) << f.frame;
}

// With a wrong lens no frame would be good enough for a texture: it is found first.
TEST(Refine, ThroughALensThatIsFound) {
  drawn::Bent s;
  s.k1 = -0.15, s.grain = 0.02, s.width = 220, s.height = 176, s.to = 5;
  s.frame_from_plane = [](double t) {
    return Matrix3(drawn::handheld(1.2 * (t - 1), 110, 88) * translation(11 * (t - 3), 8 * (3 - t)));
  };
  const auto region = drawn::box(20, 36, 150, 150);
  int last = 0, all = 0;
  BentOptions o{.plane = {.reference = 1, .region = region, .refine = true}, .find_lens = 1};
  const auto m = track_bent(s, o, serial(), [&](int done, int total) {
    EXPECT_GT(done, last);
    last = done, all = total;
    return true;
  });
  ASSERT_TRUE(m) << to_string(m.error());
  EXPECT_EQ(last, all);
  EXPECT_LT(score(*m, s.truth(1, region)).worst_px, 0.25);
  o.plane.refine = false;
  const auto plain = track_bent(s, o, serial());
  ASSERT_TRUE(plain);
  EXPECT_EQ(plain->lens.k1, m->lens.k1);
  EXPECT_NE(plain->poses.back().frame_from_ref, m->poses.back().frame_from_ref);
}

TEST(Refine, SameBytesWithAnyRunner) {
  Scene s = swaying(0, 8);
  s.grain = 0.03;
  const Kept frames(s);
  const Motion one = tracked(frames, options(frames));
  const auto two = arena(2), mixed = shuffled(7);
  for (const Runner* r : {two.get(), mixed.get()}) {
    const Motion m = tracked(frames, options(frames), *r);
    for (size_t i = 0; i < m.poses.size(); ++i) {
      EXPECT_EQ(m.poses[i].frame_from_ref, one.poses[i].frame_from_ref);
      EXPECT_EQ(m.poses[i].corner_covariance, one.poses[i].corner_covariance);
    }
  }
}

TEST(Refine, ProgressCountsAndStops) {
  Scene s = swaying(0, 6);
  s.grain = 0.03;
  const Kept frames(s);
  int last = 0, total = 0, calls = 0;
  ASSERT_TRUE(track_plane(frames, options(frames), serial(), [&](int done, int of) {
    EXPECT_GT(done, last);
    EXPECT_LE(done, of);
    last = done, total = of, ++calls;
    return true;
  }));
  EXPECT_EQ(last, total);
  for (int stop : {1, calls / 2, calls - 1, calls}) {
    int left = stop;
    const auto m = track_plane(frames, options(frames), serial(), [&](int, int) { return --left > 0; });
    ASSERT_FALSE(m) << stop;
    EXPECT_EQ(to_string(m.error()[0]), "stopped");
  }
}

TEST(Refine, TooFewFramesAreRefused) {
  const Scene s = swaying(0, 3);
  const auto m = track_plane(s, options(s), serial());
  ASSERT_FALSE(m);
  EXPECT_EQ(
      to_string(m.error()[0]),
      "frames that show the plane well, smeared by no more than 2 px: 2; a clean texture asks for 3; take refine out, "
      "or choose another reference");
}

}  // namespace pw::refine_test
