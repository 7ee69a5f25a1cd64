#include "track/rectified.h"

#include <gtest/gtest.h>

#include "tests/track/drawn_bent.h"
#include "track/readout.h"
#include "track/score.h"

namespace pw::rectified_test {

using drawn::Bent;

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
