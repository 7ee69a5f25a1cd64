// What is held stands still: compared with footage drawn where nothing moves.
#include <gtest/gtest.h>

#include <algorithm>

#include "comp/kinds/registry.h"
#include "tests/folder.h"
#include "tests/track/drawn.h"

namespace pw::stabilise_test {

struct Held {
  const Kind& kind = *find_kind(all_kinds(), "stabilise");
  drawn::Scene scene;
  std::shared_ptr<void> params = kind.fresh();
  Measured motion;
  Shot shot;

  explicit Held(std::function<Matrix3(double)> path) {
    scene.from = 1, scene.to = 9, scene.frame_from_plane = std::move(path);
    motion = scene.truth(2, drawn::box(60, 50, 140, 110));
    shot.width = scene.width, shot.height = scene.height, shot.first = 1, shot.last = 9;
  }
  void set(std::string_view name, const Value& v) { kind.param(name)->set(params.get(), v); }
  Picture at(int frame) const {
    const Picture image = scene.image(frame);
    std::vector<std::vector<Connection>> inputs{{{"image", nullptr, nullptr, false, image.window()}},
                                                {{"motion", &motion, nullptr, false, {}}}};
    return kind.hooks.make(params.get(), Making{Ask{shot, frame, shot.canvas(), 0, inputs},
                                                [&](int, int, int) -> const Picture& { return image; }});
  }
};

// RMS difference of a picture with another, of what is opaque in it and 12 pixels from the border.
double difference(const Picture& p, const Picture& want) {
  double sum = 0, n = 0;
  for (int y = 12; y < want.window().height() - 12; ++y)
    for (int x = 12; x < want.window().width() - 12; ++x) {
      if (p.channels() == 4 && p.at(x, y)[3] < 1) continue;
      for (int c = 0; c < 3; ++c) sum += std::pow(p.at(x, y)[c] - want.at(x, y)[c], 2), n += 1;
    }
  return n ? std::sqrt(sum / n) : 1e9;
}

Matrix3 path(double t) { return drawn::handheld(t); }

TEST(Stabilise, ThePlaneStandsAsInTheReferenceOrTheFrameNamed) {
  Held h(path);
  EXPECT_LT(difference(h.at(8), h.scene.image(2)), 0.01);
  EXPECT_GT(difference(h.scene.image(8), h.scene.image(2)), 0.1) << "it moves";
  h.set("frame", int64_t{5});
  EXPECT_LT(difference(h.at(8), h.scene.image(5)), 0.01);
  const Picture own = h.at(5), image = h.scene.image(5);
  for (int y = 0; y < 160; ++y)
    for (int x = 0; x < 200; ++x) ASSERT_EQ(own.at(x, y)[1], image.at(x, y)[1]) << "the frame itself keeps its bits";
}

TEST(Stabilise, WhatNothingShowsIsClear) {
  Held h([](double t) { return translation(10 * t, 0); });
  const Picture p = h.at(5);  // Moved by 30 pixels against frame 2.
  EXPECT_EQ(p.at(199, 80)[3], 0);
  EXPECT_EQ(p.at(172, 80)[3], 0);
  EXPECT_EQ(p.at(167, 80)[3], 1);
}

TEST(Stabilise, OnlyTheMoveIsTakenOut) {
  Held h(path);
  for (const char* part : {"turn", "scale", "rest"}) h.set(part, false);
  h.set("about_px", std::vector<double>{100, 80});
  const Motion& motion = std::get<Motion>(h.motion);
  const Point moved = map(motion.find(8)->frame_from_ref, {100, 80}) - Point(100, 80);
  drawn::Scene want = h.scene;
  want.frame_from_plane = [&](double t) { return Matrix3(translation(-moved.x(), -moved.y()) * path(t)); };
  EXPECT_LT(difference(h.at(8), want.image(8)), 0.01);
}

TEST(Stabilise, ACalmedPictureMovesWithoutTheTremor) {
  const auto slow = [](double t) { return translation(1.5 * t, -0.5 * t); };
  Held h([slow](double t) { return Matrix3(translation(std::fmod(t, 2) ? 1.5 : -1.5, 0) * slow(t)); });
  h.set("hold", std::string("calm"));
  h.set("window_frames", 11.0);
  drawn::Scene want = h.scene;
  want.frame_from_plane = slow;
  EXPECT_LT(difference(h.at(5), want.image(5)), 0.3 * difference(h.scene.image(5), want.image(5)));
  Held steady(slow);
  steady.set("hold", std::string("calm"));
  EXPECT_LT(difference(steady.at(5), steady.scene.image(5)), 1e-4);
}

TEST(Stabilise, AFrameTheMotionDoesNotKnowIsClear) {
  Held h(path);
  std::get<Motion>(h.motion).poses[3].status = TrackStatus::lost;
  const Picture p = h.at(4);
  for (int y = 0; y < 160; ++y)
    for (int x = 0; x < 200; ++x) ASSERT_EQ(p.at(x, y)[3], 0);
}

// All that the rules of a kind have to say.
std::string said(const Kind& kind, const void* params, std::vector<std::string_view> given) {
  std::string text;
  const Given stands = [&](std::string_view key) { return std::find(given.begin(), given.end(), key) != given.end(); };
  for (const auto& rule : kind.rules)
    if (const auto c = rule(params, stands)) text += std::string(c->key) + " " + c->what + "; " + c->remedy + "\n";
  return text;
}

TEST(Stabilise, MistakesInWords) {
  Held h(path);
  h.set("about_px", std::vector<double>{1, 2, 3});
  EXPECT_EQ(said(h.kind, h.params.get(), {"about_px", "window_frames"}),
            "about_px is not one point; write about_px = [x, y]\n"
            "window_frames stands beside hold = \"still\"; it is the window of hold = \"calm\": take one out\n");
  h.set("hold", std::string("calm"));
  h.set("about_px", std::vector<double>{1, 2});
  EXPECT_EQ(said(h.kind, h.params.get(), {"frame"}),
            "frame stands beside hold = \"calm\"; a calm motion is held as no frame: take it out\n");
  h.set("frame", int64_t{12});
  const auto c = h.kind.fits_shot[0](h.params.get(), h.shot);
  ASSERT_TRUE(c);
  EXPECT_EQ(c->what + "; " + c->remedy, "is frame 12, which the shot does not have; it has frames 1 to 9");
}

TEST(Transfer, WhatItMakesIsStoredAndTold) {
  const Kind& kind = *find_kind(all_kinds(), "transfer");
  const auto params = kind.fresh();
  kind.param("inverse")->set(params.get(), true);
  Held h(path);
  std::get<Motion>(h.motion).poses[3].status = TrackStatus::lost;
  std::get<Motion>(h.motion).poses[3].reason = "no answer";
  std::vector<std::vector<Connection>> inputs{{{"motion", &h.motion, nullptr, false, {}}}, {}, {}};
  const auto made = kind.hooks.measure(params.get(), Measuring{h.shot, inputs, {}, serial(), {}, {}});
  ASSERT_TRUE(made);
  const Matrix3 back =
      std::get<Motion>(*made).find(8)->frame_from_ref * std::get<Motion>(h.motion).find(8)->frame_from_ref;
  EXPECT_TRUE(normalised(back).isIdentity(1e-9));
  const Problems told = kind.hooks.remarks(*made);
  ASSERT_EQ(told.size(), 1u);
  EXPECT_EQ(told[0].what + "; " + told[0].remedy,
            "lost on 1 frames, the first is 4: no answer; mend the motions it is made from");
  const std::string stem = test_folder("comp_kinds_test") + "node";
  ASSERT_TRUE(kind.hooks.save(*made, stem, "k1"));
  const auto again = kind.hooks.recall(stem, "k1");
  ASSERT_TRUE(again);
  EXPECT_EQ(std::get<Motion>(*again).find(8)->frame_from_ref, std::get<Motion>(*made).find(8)->frame_from_ref);
  EXPECT_FALSE(kind.hooks.recall(stem, "k2"));
  kind.param("place_px")->set(params.get(), std::vector<double>{4});
  EXPECT_EQ(said(kind, params.get(), {"place_px"}), "place_px is not one point; write place_px = [x, y]\n");
}

}  // namespace pw::stabilise_test
