// A still from elsewhere, through the kind: file in, picture over the reference frame out, kept and told.
#include <gtest/gtest.h>

#include <cmath>

#include "comp/kinds/registry.h"
#include "comp/media/still.h"
#include "tests/folder.h"
#include "tests/track/drawn.h"

namespace pw::register_kind_test {

const Kind& kind() { return *find_kind(all_kinds(), "register"); }

TEST(RegisterKind, TheStillLiesOverTheReferenceFrame) {
  const std::string dir = test_folder("comp_kinds_test");
  drawn::Scene scene;
  scene.from = 1, scene.to = 2;
  scene.frame_from_plane = [](double t) {
    return t < 1.5 ? Matrix3(Matrix3::Identity()) : Matrix3(scaling(1.5, 1.5) * drawn::handheld(6));
  };
  drawn::Scene other = scene;
  other.width = 300, other.height = 240, other.scale = 0.6;
  ASSERT_TRUE(write_still(dir + "wall.png", other.image(2), {.encoding = Encoding::srgb, .depth = Depth::bits16}));

  const auto params = kind().fresh();
  kind().param("file")->set(params.get(), std::string("wall.png"));
  kind().param("region")->set(params.get(), drawn::box(30, 30, 160, 130));
  Shot shot;
  shot.width = 200, shot.height = 160, shot.first = 1, shot.last = 2, shot.folder = dir;
  std::vector<std::vector<Connection>> inputs{{{"plate", nullptr, nullptr, false, shot.canvas()}}, {}};
  Problems warned;
  const auto made =
      kind().hooks.measure(params.get(), Measuring{shot,
                                                   inputs,
                                                   [&](int, int, int f) -> Result<Picture> { return scene.image(f); },
                                                   serial(),
                                                   {},
                                                   [&](Problem p) { warned.push_back(p); }});
  ASSERT_TRUE(made) << to_string(made.error());
  const Still& still = std::get<Still>(*made);
  EXPECT_EQ(still.own_frame, 1);
  EXPECT_EQ(still.doubt, "");
  EXPECT_NE(still.fit.find("status good\n"), std::string::npos) << still.fit;
  const Picture plate = scene.image(1);
  double sum = 0;
  for (int y = 40; y < 120; ++y)
    for (int x = 40; x < 150; ++x) {
      ASSERT_EQ(still.picture.at(x, y)[3], 1);
      for (int c = 0; c < 3; ++c) sum += std::pow(still.picture.at(x, y)[c] - plate.at(x, y)[c], 2);
    }
  EXPECT_LT(std::sqrt(sum / (80 * 110 * 3)), 0.012);

  ASSERT_TRUE(kind().hooks.save(*made, dir + "node", "k1"));
  const auto back = kind().hooks.recall(dir + "node", "k1");
  ASSERT_TRUE(back);
  EXPECT_TRUE(same_bits(std::get<Still>(*back).picture, still.picture));
  EXPECT_EQ(std::get<Still>(*back).fit, still.fit);
  EXPECT_EQ(std::get<Still>(*back).own_frame, 1);
  EXPECT_FALSE(kind().hooks.recall(dir + "node", "k2"));
}

TEST(RegisterKind, WhatIsDoubtfulIsTold) {
  Still s;
  EXPECT_TRUE(kind().hooks.remarks(s).empty());
  s.doubt = "a corner is known to 0.70 px only";
  const Problems told = kind().hooks.remarks(s);
  ASSERT_EQ(told.size(), 1u);
  EXPECT_EQ(told[0].what + "; " + told[0].remedy,
            "a corner is known to 0.70 px only; look at it over the reference frame; pairs of points or another region "
            "may help");
}

TEST(RegisterKind, MistakesInWords) {
  const auto params = kind().fresh();
  const auto said = [&] {
    std::string text;
    for (const auto& rule : kind().rules)
      if (const auto c = rule(params.get(), [](std::string_view) { return true; }))
        text += std::string(c->key) + " " + c->what + "; " + c->remedy + "\n";
    return text;
  };
  const auto set = [&](std::string_view name, const Value& v) { kind().param(name)->set(params.get(), v); };
  EXPECT_EQ(said(), "region has 0 corners; a plane needs 4 or more\n");
  set("region", drawn::box(0, 0, 9, 9));
  EXPECT_EQ(said(), "");
  set("still_points", Polygon{{1, 1}});
  EXPECT_EQ(said(), "still_points has points without a partner; give the same places in the still and in the plate\n");
  set("plate_points", Polygon{{1, 1}});
  EXPECT_EQ(said(), "still_points has 1 points; give 4 or more\n");
  set("plate_points", Polygon{});
  set("still_points", Polygon{});
  set("align", false);
  EXPECT_EQ(said(), "align is false, but there are no points; give still_points and plate_points\n");
}

}  // namespace pw::register_kind_test
