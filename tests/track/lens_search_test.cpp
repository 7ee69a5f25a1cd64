#include "track/lens_search.h"

#include <gtest/gtest.h>

#include "tests/track/drawn_bent.h"
#include "track/score.h"

namespace pw::lens_search_test {

// A plane that crosses the picture, turns a little and comes nearer.
drawn::Bent crossing(double k1, double k2) {
  drawn::Bent s;
  s.k1 = k1, s.k2 = k2, s.width = 220, s.height = 176, s.to = 5;
  s.frame_from_plane = [](double t) {
    return Matrix3(drawn::handheld(1.2 * (t - 1), 110, 88) * translation(11 * (t - 3), 8 * (3 - t)));
  };
  return s;
}
const std::vector<Point> kRegion = drawn::box(20, 36, 150, 150);

Motion tracked(const drawn::Bent& scene, int terms, const Runner& runner = serial()) {
  int last = 0, all = 0;
  const BentOptions o{.plane = {.reference = 1, .region = kRegion}, .find_lens = terms};
  const auto m = track_bent(scene, o, runner, [&](int done, int total) {
    EXPECT_GT(done, last);
    EXPECT_LE(done, total);
    last = done, all = total;
    return true;
  });
  EXPECT_TRUE(m) << (m ? "" : to_string(m.error()));
  return m ? *m : Motion{};
}

TEST(LensSearch, ALensThatBendsThePlane) {
  for (const auto& [k1, k2] : {std::pair{-0.15, 0.0}, std::pair{0.12, 0.0}, std::pair{-0.14, 0.05}}) {
    const drawn::Bent scene = crossing(k1, k2);
    const int terms = k2 == 0 ? 1 : 2;
    const Motion m = tracked(scene, terms);
    const TrackScore s = score(m, scene.truth(1, kRegion));
    EXPECT_EQ(s.lost, 0);
    EXPECT_LT(s.worst_px, 0.06) << k1;
    EXPECT_NEAR(m.lens.k1, k1, 4 * m.lens.k1_sd);
    EXPECT_LT(m.lens.k1_sd, terms == 1 ? 0.002 : 0.01);
    EXPECT_EQ(m.lens.k2_sd > 0, terms == 2);
    const Motion straight = *track_bent(scene, {.plane = {.reference = 1, .region = kRegion}}, serial());
    EXPECT_GT(score(straight, scene.truth(1, kRegion)).worst_px, 0.5) << "this lens would not be missed";
    if (terms == 2) continue;  // It bends less than what is sure to be seen.
    EXPECT_EQ(straight.poses.back().status, TrackStatus::weak) << k1;
    EXPECT_EQ(straight.poses.back().reason.substr(0, 39), "the picture bends against the plane by ");
  }
}

TEST(LensSearch, GrainOfTheFootage) {
  drawn::Bent scene = crossing(-0.15, 0);
  scene.grain = 0.02;
  const Motion m = tracked(scene, 1);
  EXPECT_LT(score(m, scene.truth(1, kRegion)).worst_px, 0.25);
  EXPECT_NEAR(m.lens.k1, -0.15, 4 * m.lens.k1_sd);
  EXPECT_LT(m.lens.k1_sd, 0.01);
}

TEST(LensSearch, NoLensAtAll) {
  const Motion m = tracked(crossing(0, 0), 1);
  EXPECT_NEAR(m.lens.k1, 0, 0.002);
}

TEST(LensSearch, TheSameInAnyOrder) {
  drawn::Bent scene = crossing(-0.1, 0);
  scene.to = 4;
  const Motion a = tracked(scene, 1), b = tracked(scene, 1, *shuffled(3));
  EXPECT_EQ(a.lens.k1, b.lens.k1);
  EXPECT_EQ(a.poses.back().frame_from_ref, b.poses.back().frame_from_ref);
}

TEST(LensSearch, WhatDoesNotShowTheLens) {
  drawn::Bent still = crossing(-0.15, 0);
  still.to = 4, still.grain = 0.01, still.frame_from_plane = [](double) { return Matrix3(Matrix3::Identity()); };
  const BentOptions o{.plane = {.reference = 1, .region = kRegion}, .find_lens = 1};
  const auto m = track_bent(still, o, serial());
  ASSERT_FALSE(m) << m->lens.k1;
  EXPECT_EQ(m.error()[0].what.substr(0, 33), "the lens is not seen well enough:");
  EXPECT_EQ(m.error()[0].remedy, "use a plane that fills more of the picture and moves across it, or give k1");
  still.to = 2;
  EXPECT_EQ(track_bent(still, o, serial()).error()[0].what,
            "the lens is not seen well enough: only 1 frames were followed");
  BentOptions rows = o;
  rows.readout = 0.5;
  EXPECT_EQ(track_bent(still, rows, serial()).error()[0].what,
            "the lens cannot be found where rows are taken one after the other");
}

}  // namespace pw::lens_search_test
