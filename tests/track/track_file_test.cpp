#include "track/track_file.h"

#include <gtest/gtest.h>

#include <array>

namespace pw::track_file_test {

Motion sample() {
  Motion m{1920, 1080, 46, {{500, 60}, {940.25, 40}, {940, 500}, {330, 500}, {300, 200}}, {}};
  for (int f = 44; f <= 48; ++f) {
    Pose p{f};
    p.frame_from_ref << 1 + 0.01 * (f - 46), 1e-3 / 3, 0.1 * f - 4.6, -2e-4, 1, 1.0 / 7, 1e-7 * f, 0, 1;
    if (f == 46) p.frame_from_ref.setIdentity();
    p.residual = 0.004321 * f;
    m.poses.push_back(p);
  }
  m.poses[0].status = TrackStatus::weak, m.poses[0].reason = "a \"corner\"\nis \\ known to 0.7 px only";
  m.poses[4].status = TrackStatus::lost;
  m.poses[1].corner_covariance.assign(100, 1.0 / 3);
  m.chosen = "region = [[1, 2]]: \"good\"";
  return m;
}

TEST(TrackFile, RoundTripIsExact) {
  const Motion m = sample();
  const std::string text = track_text(m);
  const auto r = parse_track(text, "floor.json");
  ASSERT_TRUE(r) << to_string(r.error());
  EXPECT_EQ(r->width, 1920);
  EXPECT_EQ(r->reference, 46);
  EXPECT_EQ(r->region, m.region);
  EXPECT_EQ(r->chosen, m.chosen);
  ASSERT_EQ(r->poses.size(), m.poses.size());
  for (size_t i = 0; i < m.poses.size(); ++i) {
    EXPECT_EQ(r->poses[i].frame, m.poses[i].frame);
    EXPECT_EQ(r->poses[i].frame_from_ref, m.poses[i].frame_from_ref);
    EXPECT_EQ(r->poses[i].status, m.poses[i].status);
    EXPECT_EQ(r->poses[i].residual, m.poses[i].residual);
    EXPECT_EQ(r->poses[i].reason, m.poses[i].reason);
    EXPECT_EQ(r->poses[i].corner_covariance, m.poses[i].corner_covariance);
  }
  EXPECT_EQ(track_text(*r), text);
}

std::string problem(std::string_view text) {
  const auto r = parse_track(text, "t.json");
  return r ? "read" : to_string(r.error()[0]);
}

TEST(TrackFile, ProblemsPointAtThePlace) {
  const std::string head =
      "{\"format\": \"platewright-track\", \"version\": 1, \"size\": [640, 480], \"reference\": 1,\n";
  const std::string region = " \"region\": [[0, 0], [9, 0], [9, 9], [0, 9]],\n";
  EXPECT_EQ(problem("{\"format\": \"other\"}"),
            "t.json:1:18: this is no track file: its 'format' is not 'platewright-track'");
  EXPECT_EQ(problem(head + " \"region\": [[0, 0], [9, 0], [9, 9]],\n \"frames\": []}"),
            "t.json:2:12: the region has 3 corners; a plane needs 4 or more");
  EXPECT_EQ(problem(head + region + " \"frames\": [{\"frame\": 1,\n \"status\": \"fine\"}]}"),
            "t.json:3:13: frame 1 has no 'frame_from_ref'");
  EXPECT_EQ(problem(head + region + " \"frames\": [{\"frame\": 1.5}]}").substr(0, 60),
            "t.json:3:26: 'frame' is not a whole number from -100000000 t");
  EXPECT_EQ(
      problem(head + region +
              " \"frames\": [{\"frame\": 1, \"frame_from_ref\": [[1,0,0],[0,1,0],[0,0,1]], \"status\": \"fine\"}]}"),
      "t.json:3:86: 'fine' is no status; use good, weak, hidden, outside or lost");
  EXPECT_EQ(
      problem(head + region +
              " \"frames\": [{\"frame\": 1, \"frame_from_ref\": [[1,0,0],[2,0,0],[0,0,1]], \"status\": \"good\"}]}"),
      "t.json:3:44: frame_from_ref is not a homography that can be inverted");
  EXPECT_EQ(problem(head + region + " \"frames\": 7}"), "t.json:3:13: 'frames' is a number, not a list");
  EXPECT_EQ(problem("{\"format\": \"platewright-track\", \"version\": 2}").substr(0, 91),
            "t.json:1:45: the track file has version 2; this program reads version 1");
  EXPECT_NE(problem(head + "\n oops").find("t.json:3:"), std::string::npos);
}

TEST(TrackFile, HostileInputNeverCrashes) {
  const std::string good = track_text(sample());
  for (size_t cut = 0; cut < good.size(); cut += 13)
    EXPECT_FALSE(parse_track(std::string_view(good).substr(0, cut), "t"));
  for (size_t at = 0; at < good.size(); at += 7)
    for (char c : {'{', ']', '9', '"', '\0', '\xff', '-', 'e'}) {
      std::string bad = good;
      bad[at] = c;
      const auto r = parse_track(bad, "t");
      if (!r) continue;
      for (const Pose& p : r->poses) EXPECT_TRUE(p.frame_from_ref.allFinite());
    }
  EXPECT_FALSE(parse_track(std::string(200000, '['), "t"));
  EXPECT_FALSE(parse_track("{\"a\":" + std::string(100000, '{'), "t"));
  EXPECT_FALSE(parse_track("", "t"));
  EXPECT_FALSE(parse_truth("[]", "t"));
}

TEST(TrackFile, Truth) {
  const auto t = parse_truth(
      "{\"size\": [64, 48], \"reference\": 1, \"region\": [[0,0],[9,0],[9,9],[0,9]],\n"
      "\"frames\": {\"2\": [[2,0,4],[0,2,0],[0,0,2]], \"10\": [[1,0,0],[0,1,0],[0,0,1]], \"1\": "
      "[[1,0,0],[0,1,0],[0,0,1]]}}",
      "truth.json");
  ASSERT_TRUE(t) << to_string(t.error());
  ASSERT_EQ(t->poses.size(), 3u);
  EXPECT_EQ(t->poses[1].frame, 2);
  EXPECT_EQ(t->poses[2].frame, 10);
  EXPECT_EQ(t->poses[1].frame_from_ref, translation(2, 0));
  EXPECT_FALSE(
      parse_truth("{\"size\": [64, 48], \"reference\": 1, \"region\": [[0,0],[9,0],[9,9],[0,9]],"
                  "\"frames\": {\"x\": [[1,0,0],[0,1,0],[0,0,1]]}}",
                  "truth.json"));
}

TEST(TrackFile, LensAndReadoutComeBack) {
  Motion m{64, 48, 1, {{0, 0}, {9, 0}, {9, 9}, {0, 9}}, {{.frame = 1}}};
  const std::string plain = track_text(m);
  EXPECT_EQ(plain.find("lens"), std::string::npos);
  EXPECT_EQ(plain.find("readout"), std::string::npos);
  m.lens = {-0.1234567890123, 0.01, 0.003, 0.002};
  m.readout = 0.6, m.readout_sd = 0.01;
  const auto r = parse_track(track_text(m), "t");
  ASSERT_TRUE(r) << to_string(r.error());
  EXPECT_EQ(r->lens.k1, m.lens.k1);
  EXPECT_EQ(r->lens.k2, m.lens.k2);
  EXPECT_EQ(r->lens.k1_sd, 0.003);
  EXPECT_EQ(r->lens.k2_sd, 0.002);
  EXPECT_EQ(r->readout, 0.6);
  EXPECT_EQ(r->readout_sd, 0.01);
  for (const auto& [from, to, what] : {std::array<std::string, 3>{"\"readout\": 0.6", "\"readout\": 1.5",
                                                                  "'readout' is not a number between -1 and 1"},
                                       {"[-0.1234567890123, 0.01]", "[]", "'lens' is not [k1] or [k1, k2]"},
                                       {"[-0.1234567890123, 0.01]", "[-0.9]", "this lens folds the picture over"},
                                       {"[0.003, 0.002]", "0.003", "'lens_sd' is not [k1, k2]"}}) {
    std::string bad = track_text(m);
    bad.replace(bad.find(from), from.size(), to);
    const auto refused = parse_track(bad, "t");
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error()[0].what, what);
  }
}

TEST(TrackFile, TruthMaySayWhereCornersAreSeen) {
  const std::string head =
      "{\"size\": [64, 48], \"reference\": 1, \"region\": [[0,0],[9,0],[9,9],[0,9]],"
      "\"frames\": {\"1\": [[1,0,0],[0,1,0],[0,0,1]], \"2\": [[1,0,0],[0,1,0],[0,0,1]]}, \"corners\": ";
  const auto t = parse_truth(head + "{\"2\": [[1,2],[3,4],[5,6],[7,8.5]]}}", "truth.json");
  ASSERT_TRUE(t) << to_string(t.error());
  EXPECT_TRUE(t->poses[0].corners.empty());
  ASSERT_EQ(t->poses[1].corners.size(), 4u);
  EXPECT_EQ(t->poses[1].corners[3], Point(7, 8.5));
  EXPECT_FALSE(parse_truth(head + "{\"2\": [[1,2]]}}", "truth.json"));
  EXPECT_FALSE(parse_truth(head + "{\"7\": [[1,2],[3,4],[5,6],[7,8]]}}", "truth.json"));
  EXPECT_FALSE(parse_truth(head + "3}", "truth.json"));
}

}  // namespace pw::track_file_test
