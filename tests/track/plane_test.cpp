#include "track/plane.h"

#include <gtest/gtest.h>

#include "tests/track/drawn.h"
#include "track/score.h"
#include "track/telling.h"

namespace pw::plane_test {

using drawn::Scene;
const std::vector<Point> kRegion = drawn::box(50, 40, 150, 120);

Motion tracked(const Scene& scene, int reference = 1, const std::vector<Point>& region = kRegion,
               const Runner& runner = serial()) {
  const auto m = track_plane(scene, {.reference = reference, .region = region}, runner);
  EXPECT_TRUE(m) << (m ? "" : to_string(m.error()));
  return m ? *m : Motion{};
}

Scene handheld() {
  Scene s;
  s.frame_from_plane = [](double t) { return drawn::handheld(t - 1); };
  return s;
}

TEST(Plane, ExactFootageForwardAndBackward) {
  const Scene s = handheld();
  for (int reference : {1, 3}) {
    const TrackScore r = score(tracked(s, reference), s.truth(reference, kRegion));
    EXPECT_EQ(r.lost, 0);
    EXPECT_LT(r.worst_px, 0.006);
  }
}

TEST(Plane, LightAMillionTimesAsBright) {
  Scene s = handheld();
  s.scale = 1e6;
  s.to = 3;
  EXPECT_LT(score(tracked(s), s.truth(1, kRegion)).worst_px, 0.006);
}

// More pixels than it takes: the last level is not the finest, and yet what is stated holds.
TEST(Plane, LargeRegion) {
  Scene s = handheld();
  s.width = 400, s.height = 340, s.to = 2, s.channels = 1, s.fine = 1;
  const auto region = drawn::box(20, 16, 380, 320);
  const Motion m = tracked(s, 1, region);
  EXPECT_EQ(m.poses.back().status, TrackStatus::good) << m.poses.back().reason;
  EXPECT_LT(score(m, s.truth(1, region)).worst_px, 0.02);
}

// A small region is known better with another part of its plane, and where it is hidden itself.
TEST(Plane, PartsOfOnePlane) {
  Scene s = handheld();
  s.grain = 0.02, s.rounded = true;
  const auto region = drawn::box(50, 40, 82, 70);
  const Motion alone = tracked(s, 1, region), truth = s.truth(1, region);
  const PlaneOptions both{.reference = 1, .region = region, .also = {drawn::box(110, 80, 150, 120)}};
  const auto m = track_plane(s, both, serial());
  ASSERT_TRUE(m) << to_string(m.error());
  EXPECT_LT(score(*m, truth).rms_px, score(alone, truth).rms_px);
  for (const Pose& p : m->poses)
    if (p.frame != 1) EXPECT_LT(worst_sigma(p), 0.6 * worst_sigma(*alone.find(p.frame))) << p.frame;
  s.ignored = [](int frame, double x, double) { return frame > 1 && x < 95; };
  const auto unseen = track_plane(s, both, serial());
  ASSERT_TRUE(unseen) << to_string(unseen.error());
  EXPECT_LT(score(*unseen, truth).worst_px, 1);
  for (const Pose& p : unseen->poses) EXPECT_NE(p.status, TrackStatus::lost) << p.reason;

  PlaneOptions wrong = both;
  wrong.also = {{Point(1, 1), Point(2, 2)}};
  EXPECT_NE(to_string(track_plane(s, wrong, serial()).error()).find("3 or more"), std::string::npos);
  wrong.also = {{Point(1, 1), Point(2, NAN), Point(3, 1)}};
  EXPECT_NE(to_string(track_plane(s, wrong, serial()).error()).find("not a number"), std::string::npos);
}

TEST(Plane, OneChannel) {
  Scene s = handheld();
  s.channels = 1;
  s.to = 3;
  EXPECT_LT(score(tracked(s), s.truth(1, kRegion)).worst_px, 0.008);
}

TEST(Plane, NoisyFootageIsAsGoodAsItSays) {
  Scene s = handheld();
  s.grain = 0.02, s.rounded = true;
  const Motion m = tracked(s), truth = s.truth(1, kRegion);
  const TrackScore r = score(m, truth);
  EXPECT_EQ(r.lost, 0);
  EXPECT_LT(r.worst_px, 0.08);
  for (const FrameScore& f : r.frames) {
    const auto& c = m.find(f.frame)->corner_covariance;
    ASSERT_EQ(c.size(), 64u);
    double trace = 0;
    for (int i = 0; i < 8; ++i) trace += c[9 * i];
    const double stated = std::sqrt(trace / 4);
    EXPECT_LT(f.rms_px, 3.5 * stated);
    EXPECT_GT(f.rms_px, 0.2 * stated);
  }
}

// Frames that are drawn once, however often they are asked for; `shutter` is what the tracker is told.
struct Kept final : PlaneFrames {
  std::vector<Picture> pictures;
  int from;
  double shutter;
  Kept(const Scene& s, double told) : from(s.from), shutter(told) {
    for (int f = s.from; f <= s.to; ++f) pictures.push_back(s.image(f));
  }
  int first() const override { return from; }
  int last() const override { return from + int(pictures.size()) - 1; }
  Picture image(int f) const override { return pictures[f - from]; }
  double shutter_deg() const override { return shutter; }
};

TEST(Plane, ShutterOfFastSwings) {
  Scene s;
  s.width = 140, s.height = 104, s.to = 4, s.shutter = 180, s.fine = 1;
  s.frame_from_plane = [](double t) { return translation(22 * std::sin(0.8 * (t - 1)), 9 * std::cos(0.6 * t)); };
  const auto region = drawn::box(46, 28, 116, 84);
  Kept frames(s, 180);
  const Motion truth = s.truth(2, region);
  const auto error = [&] {
    const auto m = track_plane(frames, {.reference = 2, .region = region}, serial());
    EXPECT_TRUE(m);
    return m ? score(*m, truth) : TrackScore{};
  };
  const TrackScore r = error();
  EXPECT_EQ(r.lost, 0);
  EXPECT_LT(r.rms_px, 0.1);
  frames.shutter = 0;  // The same pictures, but the tracker is told that the shutter does not smear.
  EXPECT_GT(error().rms_px, 2 * r.rms_px);
}

// A wall of lit windows, brighter than the picture holds. They are clipped, and yet their edges are nearly all that
// tells where the wall is.
TEST(Plane, WindowsBrighterThanThePictureHolds) {
  Scene s = handheld();
  s.rounded = true, s.to = 6;
  s.paint = [](double x, double y, float* rgb) {
    drawn::texture(x, y, rgb);
    const double column = std::floor(x / 17), row = std::floor(y / 14);
    const double shift = 0.125 * std::sin(5 * column * column + 3 * row * row);
    const double half = 0.3 + 0.1 * std::sin(7 * column + 4 * row);
    const bool lit = std::abs(x / 17 - column - 0.5 - shift) < half && std::abs(y / 14 - row - 0.5 + shift) < half;
    for (int c = 0; c < 3; ++c) rgb[c] = lit ? 1.2f : 0.05f + 0.01f * rgb[c];
  };
  const Motion m = tracked(s);
  for (const Pose& p : m.poses) EXPECT_EQ(p.status, TrackStatus::good) << p.frame << ": " << p.reason;
  const TrackScore r = score(m, s.truth(1, kRegion));
  EXPECT_EQ(r.lost, 0);
  EXPECT_LT(r.worst_px, 0.15);
}

// Where nothing is to be seen there is no position, and no covariance that could not be written down.
TEST(Plane, BlackAndWhiteFramesAreLost) {
  Scene s = handheld();
  s.cover = [](double t, double, double, float* rgb) {
    if (t < 2.5) return false;
    rgb[0] = rgb[1] = rgb[2] = t < 3.5 ? 0.f : 1.f;
    return true;
  };
  const Motion m = tracked(s);
  EXPECT_EQ(m.find(2)->status, TrackStatus::good);
  for (int f : {3, 4}) {
    EXPECT_EQ(m.find(f)->status, TrackStatus::lost) << f;
    EXPECT_NE(m.find(f)->reason, "");
    for (double v : m.find(f)->corner_covariance) EXPECT_TRUE(std::isfinite(v));
  }
}

// From frame 3 on another place of the same wallpaper, which no homography near by brings back, and a wall of waves.
TEST(Plane, CutToAnotherPictureIsNeverGood) {
  for (int kind = 0; kind < 3; ++kind) {
    Scene s = handheld();
    s.grain = kind == 2 ? 0.03 : 0.004, s.rounded = true;
    s.cover = [kind](double t, double x, double y, float* rgb) {
      if (t < 2.5) return false;
      if (kind == 1)
        for (int c = 0; c < 3; ++c) rgb[c] = float(0.3 + 0.15 * std::sin(0.21 * x + 0.13 * y + c) * std::cos(0.17 * y));
      else
        drawn::texture(1.1 * y + 5000, 0.9 * x - 3000, rgb);
      return true;
    };
    const Motion m = tracked(s);
    EXPECT_EQ(m.find(2)->status, TrackStatus::good);
    for (int f : {3, 4}) {
      EXPECT_NE(m.find(f)->status, TrackStatus::good) << kind << " " << f;
      EXPECT_NE(m.find(f)->reason, "");
    }
  }
}

TEST(Plane, FlickerAndAPoolOfLight) {
  Scene s = handheld();
  s.gain = [](int f, double x, double y) {
    const double r2 = ((x - 40 - 20 * f) * (x - 40 - 20 * f) + (y - 80) * (y - 80)) / 3000;
    return (f == 2 ? 1.7 : 1.0) * (0.7 + 0.6 / (1 + r2));
  };
  const TrackScore r = score(tracked(s), s.truth(1, kRegion));
  EXPECT_EQ(r.lost, 0);
  EXPECT_LT(r.worst_px, 0.03);
}

TEST(Plane, FindsAnOccluderByItself) {
  Scene s = handheld();
  s.cover = [](double t, double x, double y, float* rgb) {
    const double left = 20 + 25 * t;  // Over a third to a half of the region.
    if (x < left || x > left + 45) return false;
    drawn::texture(3 * (x - left) + 700, y * 2 - 300, rgb);
    return true;
  };
  s.from = 0, s.to = 4;
  const TrackScore r = score(tracked(s, 0), s.truth(0, kRegion));
  EXPECT_EQ(r.lost, 0);
  EXPECT_LT(r.worst_px, 0.05);
}

// A tram passes: for four frames nothing of the plane is seen, on those before and after only a part.
TEST(Plane, HiddenWhileSomethingPasses) {
  Scene s = handheld();
  s.grain = 0.01, s.to = 16, s.fine = 1;
  s.frame_from_plane = [](double t) { return drawn::handheld(3 * std::sin(t / 4)); };
  s.cover = [](double t, double x, double y, float* rgb) {
    const double left = -330 + 60 * (t - 3);
    if (x < left || x > left + 330) return false;
    drawn::texture(2 * (x - left) + 700, y * 2 - 300, rgb);
    return true;
  };
  const Motion m = tracked(s), truth = s.truth(1, kRegion);
  int hidden = 0;
  for (const FrameScore& f : score(m, truth).frames) {
    EXPECT_FALSE(f.lost) << f.frame;
    const Pose& p = *m.find(f.frame);
    EXPECT_EQ(f.status == TrackStatus::hidden, !p.reason.empty()) << p.reason;
    if (f.status != TrackStatus::hidden) continue;
    EXPECT_LT(f.rms_px, 4 * worst_sigma(p)) << f.frame;
    ++hidden;
  }
  EXPECT_GE(hidden, 4);
  EXPECT_LE(hidden, 7);
  EXPECT_EQ(m.poses.back().status, TrackStatus::good);
}

TEST(Plane, IgnoredPartsCannotPull) {
  Scene s = handheld();
  // Most of the region moves with the picture, not with the plane.
  s.cover = [](double, double x, double y, float* rgb) {
    if (y > 95) return false;
    drawn::texture(x + 4000, y, rgb);
    return true;
  };
  s.to = 3;
  s.ignored = [](int, double, double y) { return y <= 95; };
  const auto region = drawn::box(40, 40, 160, 150);
  const Motion m = tracked(s, 1, region);
  const TrackScore r = score(m, s.truth(1, drawn::box(45, 97, 155, 148)));
  EXPECT_EQ(r.lost, 0);
  EXPECT_LT(r.worst_px, 0.05);
}

TEST(Plane, AnyOutline) {
  const Scene s = handheld();
  const std::vector<Point> concave{{50, 40}, {150, 40}, {150, 120}, {100, 75}, {50, 120}};
  EXPECT_LT(score(tracked(s, 1, concave), s.truth(1, concave)).worst_px, 0.01);
}

TEST(Plane, FlatRegionIsWeakAndSaysWhy) {
  Scene s = handheld();
  s.grain = 0.01, s.to = 3;
  s.paint = [](double, double, float* rgb) { rgb[0] = rgb[1] = rgb[2] = 0.2f; };
  for (const Pose& p : tracked(s).poses) {
    if (p.frame == 1) continue;
    EXPECT_NE(p.status, TrackStatus::good);
    EXPECT_FALSE(p.reason.empty());
    EXPECT_TRUE(p.frame_from_ref.allFinite());
  }
}

TEST(Plane, SingleLineIsWeakAndSaysWhy) {
  Scene s = handheld();
  s.grain = 0.01, s.to = 3;
  s.paint = [](double x, double, float* rgb) {
    rgb[0] = rgb[1] = rgb[2] = 0.2f + 0.5f / (1 + std::exp(-float(x - 100)));
  };
  int would_do = 0;
  for (const Pose& p : tracked(s).poses) {
    if (p.frame == 1) continue;
    EXPECT_NE(p.status, TrackStatus::good) << p.frame;
    if (p.status == TrackStatus::weak) {
      EXPECT_NE(p.reason.find("the texture does not fix "), std::string::npos) << p.reason;
      EXPECT_NE(p.reason.find("; model = "), std::string::npos) << p.reason;
      would_do += p.reason.find("would do") != std::string::npos;
    }
    EXPECT_FALSE(p.reason.empty());
  }
  EXPECT_GT(would_do, 0);
}

TEST(Plane, FewerMotionsAreHeldAndKnownBetter) {
  Scene s;
  s.grain = 0.01;
  s.frame_from_plane = [](double t) { return translation(2.3 * (t - 1), -1.1 * (t - 1)); };
  const auto m =
      track_plane(s, {.reference = 1, .region = kRegion, .limits = {.model = MotionModel::translation}}, serial());
  ASSERT_TRUE(m);
  EXPECT_LT(score(*m, s.truth(1, kRegion)).worst_px, 0.01);
  const Motion free = tracked(s);
  for (const Pose& p : m->poses) {
    EXPECT_LT((p.frame_from_ref.topLeftCorner<2, 2>() - Eigen::Matrix2d::Identity()).norm(), 1e-12);
    EXPECT_EQ(p.frame_from_ref(2, 0), 0);
    if (p.frame != 1) EXPECT_LT(p.corner_covariance[0], 0.7 * free.find(p.frame)->corner_covariance[0]);
  }
}

TEST(Plane, UprightLinesAreFollowedAcross) {
  Scene s;
  s.grain = 0.01;
  s.paint = [](double x, double, float* rgb) {
    rgb[0] = rgb[1] = rgb[2] = float(0.3 + 0.1 * std::sin(x / 2.3) + 0.1 * std::sin(x / 5.9));
  };
  s.frame_from_plane = [](double t) { return translation(1.7 * (t - 1), 0); };
  const auto m = track_plane(
      s, {.reference = 1, .region = kRegion, .limits = {.model = MotionModel::translation, .lock = LockedAxis::y}},
      serial());
  ASSERT_TRUE(m);
  EXPECT_LT(score(*m, s.truth(1, kRegion)).worst_px, 0.02);
  for (const Pose& p : m->poses) EXPECT_EQ(p.status, TrackStatus::good) << p.frame << " " << p.reason;
}

TEST(Plane, UnreadableFrameIsLostAndTheNextIsFound) {
  struct Gap final : PlaneFrames {
    const Scene& scene;
    explicit Gap(const Scene& s) : scene(s) {}
    int first() const override { return scene.first(); }
    int last() const override { return scene.last(); }
    Picture image(int f) const override { return f == 3 ? Picture() : scene.image(f); }
    double shutter_deg() const override { return 0; }
  };
  const Scene s = handheld();
  const auto m = track_plane(Gap(s), {.reference = 1, .region = kRegion}, serial());
  ASSERT_TRUE(m);
  EXPECT_EQ(m->find(3)->status, TrackStatus::lost);
  EXPECT_EQ(m->find(3)->reason, "the frame could not be read");
  const TrackScore r = score(*m, s.truth(1, kRegion));
  EXPECT_EQ(r.lost, 1);
  EXPECT_LT(r.frames.back().rms_px, 0.006);
}

TEST(Plane, SameBytesWithAnyRunner) {
  Scene s = handheld();
  s.grain = 0.01;
  const Motion one = tracked(s);
  const auto two = arena(2), mixed = shuffled(7);
  for (const Runner* r : {two.get(), mixed.get()}) {
    const Motion m = tracked(s, 1, kRegion, *r);
    ASSERT_EQ(m.poses.size(), one.poses.size());
    for (size_t i = 0; i < m.poses.size(); ++i) {
      EXPECT_EQ(m.poses[i].frame_from_ref, one.poses[i].frame_from_ref);
      EXPECT_EQ(m.poses[i].corner_covariance, one.poses[i].corner_covariance);
    }
  }
}

TEST(Plane, ProgressCountsAndStops) {
  const Scene s = handheld();
  int calls = 0, last = 0, total = 0;
  ASSERT_TRUE(track_plane(s, {.reference = 1, .region = kRegion}, serial(), [&](int done, int of) {
    EXPECT_GT(done, last);
    ++calls, last = done, total = of;
    return true;
  }));
  EXPECT_EQ(last, total);
  EXPECT_GE(calls, 4);
  EXPECT_FALSE(track_plane(s, {.reference = 1, .region = kRegion}, serial(), [](int, int) { return false; }));
}

TEST(Plane, Refusals) {
  const Scene s = handheld();
  const auto refusal = [&](const PlaneFrames& frames, int reference, std::vector<Point> region) {
    const auto m = track_plane(frames, {.reference = reference, .region = std::move(region)}, serial());
    return m ? std::string("tracked") : to_string(m.error()[0]);
  };
  EXPECT_EQ(refusal(s, 1, {{0, 0}, {50, 0}, {50, 50}}), "the region has 3 corners; a plane needs 4 or more");
  EXPECT_EQ(refusal(s, 9, kRegion), "the reference frame 9 is not among the frames 1 to 4; choose one of them");
  EXPECT_EQ(refusal(s, 1, drawn::box(300, 40, 400, 90)),
            "the region lies outside the picture; draw it inside the reference frame");
  EXPECT_EQ(refusal(s, 1, drawn::box(30, 40, 38, 90)), "the region is smaller than 12 x 12 pixels; draw a larger one");
  EXPECT_EQ(refusal(s, 1, {{0, 0}, {50, NAN}, {50, 50}, {9, 9}}),
            "a corner of the region is not a number; give every corner as [x, y]");
  Scene blind = handheld();
  blind.ignored = [](int, double, double) { return true; };
  EXPECT_EQ(refusal(blind, 1, kRegion),
            "all of the region is ignored in the reference frame; ignore less, or choose another reference");
  struct Empty final : PlaneFrames {
    int first() const override { return 1; }
    int last() const override { return 2; }
    Picture image(int) const override { return {}; }
  };
  EXPECT_EQ(refusal(Empty(), 1, kRegion), "the reference frame 1 could not be read; choose another one");
}

}  // namespace pw::plane_test
