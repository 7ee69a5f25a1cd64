// Letterboxed footage through a whole shot: two clips that differ in nothing but their bars.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <sstream>

#include "base/random.h"
#include "comp/graph/render.h"
#include "comp/kinds/registry.h"
#include "comp/media/still.h"

namespace pw::letterbox_shot_test {

const Rect kWhole = Rect::sized(192, 144), kActive{0, 21, 192, 123};
constexpr int kFrames = 4;

std::filesystem::path folder(const std::string& name) {
  const auto p = std::filesystem::path(PW_BINARY_DIR) / "letterbox_shot_test" / name;
  std::filesystem::remove_all(p);
  std::filesystem::create_directories(p);
  return p;
}

// 8-bit code values over 255: a moving pattern with grain, between bars of values up to `brightest`.
Picture frame(int f, int brightest) {
  Canvas c(kWhole, 3);
  for (int y = 0; y < kWhole.y1; ++y)
    for (int x = 0; x < kWhole.x1; ++x) {
      const RandomBits grain = random_bits(8, f, x, y), bar = random_bits(9, f, x, y);
      const double u = x - 1.5 * f, v = y - 0.5 * f;
      const double light = 0.5 + 0.2 * std::sin(u / 5 + std::sin(v / 7)) + 0.2 * std::sin(v / 4 + u / 11);
      for (int k = 0; k < 3; ++k) {
        const double code = kActive.contains(x, y) ? 255 * light + 6 * uniform(grain[k]) : brightest * uniform(bar[k]);
        c.at(x, y)[k] = static_cast<float>(decode(Encoding::srgb, std::clamp(std::round(code), 0.0, 255.0) / 255));
      }
    }
  return std::move(c).finish();
}

// Measures and delivers; where the shot is.
std::filesystem::path shot(const std::string& name, int brightest, bool told) {
  const auto dir = folder(name);
  for (int f = 1; f <= kFrames; ++f)
    EXPECT_TRUE(write_still((dir / fmt::format("f.{}.png", f)).string(), frame(f, brightest)));
  const std::string text = fmt::format(
      "plate = {{ kind = \"footage\", file = \"f.#.png\"{} }}\n"
      "move = {{ kind = \"plane\", image = \"plate\", region = [[40, 10], [150, 10], [150, 134], [40, 134]] }}\n"
      "empty = {{ kind = \"still\", image = \"plate\", frames = [1, 2, 3], motion = \"move\", merge = \"median\" }}\n"
      "clean = {{ kind = \"pin\", image = \"empty\", motion = \"move\", edge = \"hold\" }}\n"
      "lamps = {{ kind = \"light\", image = \"plate\", still = \"clean\", motion = \"move\" }}\n"
      "fine = {{ kind = \"noise\", image = \"plate\", motion = \"move\" }}\n"
      "lit = {{ kind = \"relit\", image = \"clean\", light = \"lamps\" }}\n"
      "grainy = {{ kind = \"grain\", image = \"lit\", noise = \"fine\" }}\n"
      "drops = {{ kind = \"rain\", plate = \"plate\", rain_mm_h = 60 }}\n"
      "wet = {{ kind = \"layer\", back = \"plate\", front = \"grainy\" }}\n"
      "all = {{ kind = \"layer\", back = \"wet\", front = \"drops\" }}\n"
      "out = {{ kind = \"deliver\", image = \"all\", file = \"out.#.png\" }}\n",
      told ? fmt::format(", active = [{}, {}, {}, {}]", kActive.x0, kActive.y0, kActive.x1, kActive.y1) : "");
  auto parsed = parse_shot(text, (dir / "s.toml").string());
  auto checked = check(*parsed, all_kinds());
  EXPECT_TRUE(checked) << (checked ? "" : to_string(checked.error()));
  const auto scene = survey(std::move(checked->graph));
  EXPECT_TRUE(scene) << (scene ? "" : to_string(scene.error()));
  const auto runner = arena(2);
  const int sink = scene->graph.find("out");
  const auto results = measure(*scene, {sink}, {*runner});
  EXPECT_TRUE(results) << (results ? "" : to_string(results.error()));
  if (told) {
    EXPECT_EQ(to_string(results->remarks), "");
  }
  const RenderReport report = render(*scene, *results, {sink}, {1, 2, 3, 4}, {.runner = *runner});
  EXPECT_EQ(to_string(report.problems), "");
  return dir;
}

// What the measures stored, without the keys of what it came from.
std::string stored(const std::filesystem::path& dir, const std::string& name) {
  std::ifstream in(dir / "s.measured" / name, std::ios::binary);
  std::stringstream text;
  text << in.rdbuf();
  const std::string all = text.str();
  const size_t at = all.find("\"key\": \"");
  return at == std::string::npos ? all : all.substr(0, at) + all.substr(all.find('"', at + 8));
}

Picture picture(const std::filesystem::path& file) {
  const auto p = read_still(file.string(), {.encoding = Encoding::srgb});
  EXPECT_TRUE(p) << file;
  return p ? p->picture : Picture();
}

TEST(LetterboxShot, NothingIsMeasuredOfBarsAndTheyComeBackAsTheyWere) {
  const auto dark = shot("dark", 2, true), wild = shot("wild", 240, true), untold = shot("untold", 240, false);
  for (const char* name : {"move.json", "fine.json"}) {
    EXPECT_EQ(stored(dark, name), stored(wild, name)) << name;
    EXPECT_NE(stored(dark, name), stored(untold, name)) << name;
  }
  for (const char* name : {"empty.exr", "lamps.exr"}) {
    EXPECT_TRUE(same_bits(picture(dark / "s.measured" / name), picture(wild / "s.measured" / name))) << name;
    EXPECT_FALSE(same_bits(picture(dark / "s.measured" / name), picture(untold / "s.measured" / name))) << name;
  }
  for (int f = 1; f <= kFrames; ++f) {
    const Picture a = picture(dark / fmt::format("out.{}.png", f)), b = picture(wild / fmt::format("out.{}.png", f));
    ASSERT_EQ(a.window(), kWhole);
    EXPECT_TRUE(same_bits(a.cropped(kActive), b.cropped(kActive))) << f;
    for (const Rect& bar : {Rect{0, 0, 192, 21}, Rect{0, 123, 192, 144}}) {
      EXPECT_TRUE(same_bits(a.cropped(bar), picture(dark / fmt::format("f.{}.png", f)).cropped(bar))) << f;
      EXPECT_TRUE(same_bits(b.cropped(bar), picture(wild / fmt::format("f.{}.png", f)).cropped(bar))) << f;
    }
  }
}

TEST(LetterboxShot, AnActivePartThatIsNoneIsRefused) {
  const auto dir = folder("refused");
  ASSERT_TRUE(write_still((dir / "f.1.png").string(), frame(1, 0)));
  const auto says = [&](const std::string& active) -> std::string {
    const std::string file = (dir / "s.toml").string();
    auto parsed = parse_shot("plate = { kind = \"footage\", file = \"f.#.png\", active = " + active + " }\n", file);
    auto checked = check(*parsed, all_kinds());
    if (!checked) return to_string(checked.error()).substr(file.size());
    const auto scene = survey(std::move(checked->graph));
    return scene ? "fine\n" : to_string(scene.error()).substr(file.size());
  };
  EXPECT_EQ(says("[0, 21, 192, 123]"), "fine\n");
  EXPECT_EQ(says("[]"), "fine\n");
  for (const char* wrong : {"[0, 21, 192]", "[0, 123, 192, 21]", "[0, 21.5, 192, 123]"})
    EXPECT_EQ(says(wrong),
              ":1:56: plate.active is no rectangle of whole pixels; write it as [left, top, right, bottom]\n");
  EXPECT_EQ(says("[0, 21, 192, 145]"),
            ":1:36: active reaches beyond the picture, which is 192x144; write it as [left, top, right, bottom]\n");
}

}  // namespace pw::letterbox_shot_test
