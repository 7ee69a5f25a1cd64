// What the kind keeps and tells of a camera.
#include <gtest/gtest.h>

#include <filesystem>
#include <set>

#include "comp/kinds/registry.h"
#include "tests/folder.h"

namespace pw::camera_kind_test {

Camera camera() {
  Camera c{.width = 960, .height = 540, .frame = 22};
  c.focal_px = 820.0 / 3, c.focal_sd_px = 4, c.height_m = 2.8, c.height_sd_m = 0.05;
  c.tilt_deg = 2.68, c.tilt_sd_deg = 0.1, c.roll_deg = 0.12, c.roll_sd_deg = 0.03, c.residual_px = 0.2;
  c.frame_from_ground << 800, 480, 0, 0, 230, 2240, 0, 1, 0.1;
  return c;
}

TEST(CameraKind, ComesBackExactlyOrNotAtAll) {
  const Hooks& hooks = find_kind(all_kinds(), "camera")->hooks;
  const std::string stem = test_folder("comp_kinds_test") + "node";
  Camera c = camera();
  c.doubt = "the focal length is known to 4.0 % only";
  ASSERT_TRUE(hooks.save(c, stem, "k1"));
  const auto back = hooks.recall(stem, "k1");
  ASSERT_TRUE(back);
  const Camera& b = std::get<Camera>(*back);
  EXPECT_EQ(b.focal_px, c.focal_px);
  EXPECT_EQ(b.frame, 22);
  EXPECT_EQ(b.frame_from_ground, c.frame_from_ground);
  EXPECT_EQ(b.doubt, c.doubt);
  EXPECT_FALSE(hooks.recall(stem, "k2")) << "it came from something else";
  std::filesystem::resize_file(stem + ".json", std::filesystem::file_size(stem + ".json") / 2);
  EXPECT_FALSE(hooks.recall(stem, "k1"));
}

TEST(CameraKind, IsToldInASentence) {
  Camera c = camera();
  const auto& hooks = find_kind(all_kinds(), "camera")->hooks;
  ASSERT_EQ(hooks.remarks(c).size(), 1u);
  EXPECT_EQ(hooks.remarks(c)[0].what,
            "focal length 273.3 px (+- 4.0), 2.80 m high (+- 0.05), tilted down by 2.68 degrees (+- 0.10), rolled by "
            "0.12 (+- 0.03); the horizon cuts the middle of frame 22 at row 230.0");
  c.doubt = "the focal length is known to 4.0 % only";
  ASSERT_EQ(hooks.remarks(c).size(), 2u);
  EXPECT_EQ(hooks.remarks(c)[1].what + "; " + hooks.remarks(c)[1].remedy,
            "the focal length is known to 4.0 % only; measure more points, farther apart, or say focal_px");
}

TEST(CameraKind, MistakesInWords) {
  const Kind& kind = *find_kind(all_kinds(), "camera");
  const auto params = kind.fresh();
  std::set<std::string, std::less<>> there;
  const auto said = [&] {
    const auto c = kind.rules[0](params.get(), [&](std::string_view key) { return there.contains(key); });
    return c ? std::string(c->key) + " " + c->what + "; " + c->remedy : std::string();
  };
  EXPECT_EQ(said(), "points_m has 0 points; a camera needs 4 or more, or a second plane");
  kind.param("points_m")->set(params.get(), Polygon{{0, 0}, {1, 0}, {1, 1}, {0, 1}});
  EXPECT_EQ(said(), "");
  kind.param("points_px")->set(params.get(), Polygon{{0, 0}});
  EXPECT_EQ(said(), "points_px has 1 points, points_m has 4; give each place in both, in the same order");
  there.insert("square");
  EXPECT_EQ(said(), "square is of a second plane; say which: second = \"NODE\"");
  there.insert("second");
  kind.param("points_px")->set(params.get(), Polygon{{0, 0}, {5, 0}});
  kind.param("points_m")->set(params.get(), Polygon{{0, 0}, {1, 0}});
  EXPECT_EQ(said(), "");
  kind.param("points_m")->set(params.get(), Polygon{{0, 0}});
  EXPECT_EQ(said(), "points_m has 1 points; a length needs 2 or more");
  kind.param("second_stands")->set(params.get(), Value(std::string("ground")));
  EXPECT_EQ(said(), "second_stands puts both planes on the ground; the camera needs an upright one");
}

}  // namespace pw::camera_kind_test
