// What measures store beside a shot comes back as it was, or not at all.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "bench.h"

namespace pw::stored_test {

const Hooks& hooks(std::string_view kind) { return find_kind(all_kinds(), kind)->hooks; }

struct Folder {
  std::filesystem::path path = std::filesystem::path(PW_BINARY_DIR) / "stored_test";
  Folder() { std::filesystem::create_directories(path); }
  ~Folder() { std::filesystem::remove_all(path); }
  std::string stem() const { return (path / "node").string(); }
};

void cut_off(const std::string& file) { std::filesystem::resize_file(file, std::filesystem::file_size(file) / 2); }

TEST(Stored, LightComesBackExactly) {
  const Folder folder;
  Shot shot;
  shot.width = 61, shot.height = 43, shot.first = 3, shot.last = 8;
  Light l = bench::light(shot);
  l.frames[2].seen_share = 0.1 + 0.2;
  ASSERT_TRUE(hooks("light").save(l, folder.stem(), "k1"));
  const auto back = hooks("light").recall(folder.stem(), "k1");
  ASSERT_TRUE(back);
  const Light& b = std::get<Light>(*back);
  EXPECT_EQ(b.width, 61);
  EXPECT_EQ(b.height, 43);
  EXPECT_EQ(b.cell_px, l.cell_px);
  EXPECT_EQ(b.columns, l.columns);
  ASSERT_EQ(b.frames.size(), l.frames.size());
  for (size_t i = 0; i < l.frames.size(); ++i) {
    EXPECT_EQ(b.frames[i].frame, l.frames[i].frame);
    EXPECT_EQ(b.frames[i].stops, l.frames[i].stops);
    EXPECT_EQ(b.frames[i].seen_share, l.frames[i].seen_share);
  }
  EXPECT_FALSE(hooks("light").recall(folder.stem(), "k2")) << "it came from something else";
  cut_off(folder.stem() + ".exr");
  EXPECT_FALSE(hooks("light").recall(folder.stem(), "k1"));
}

TEST(Stored, NoiseComesBackExactly) {
  const Folder folder;
  const Noise n = bench::grain();
  ASSERT_TRUE(hooks("noise").save(n, folder.stem(), "k1"));
  const auto back = hooks("noise").recall(folder.stem(), "k1");
  ASSERT_TRUE(back);
  const Noise& b = std::get<Noise>(*back);
  EXPECT_EQ(b.spatial, n.spatial);
  EXPECT_EQ(b.between, n.between);
  for (double v : {0.0, 0.1, 0.7}) EXPECT_EQ(b.sigma(2, v), n.sigma(2, v));
  EXPECT_FALSE(hooks("noise").recall(folder.stem(), "k2")) << "it came from something else";
  cut_off(folder.stem() + ".json");
  EXPECT_FALSE(hooks("noise").recall(folder.stem(), "k1"));
}

TEST(Stored, AStillRemembersHowMuchGrainItHasLeft) {
  const Folder folder;
  Still s{bench::noise(Rect::sized(9, 7), 4, 1), 4, {4, 6, 8}, 0.25, 0.67};
  ASSERT_TRUE(hooks("still").save(s, folder.stem(), "k1"));
  const auto back = hooks("still").recall(folder.stem(), "k1");
  ASSERT_TRUE(back);
  EXPECT_EQ(std::get<Still>(*back).grain_share, 0.67);
  EXPECT_EQ(std::get<Still>(*back).frames, s.frames);
}

TEST(Stored, NumbersOfTheWrongSortAreDamage) {
  const Folder folder;
  ASSERT_TRUE(hooks("lens").save(Lens{-0.1, 0.02}, folder.stem(), "k1"));
  const auto back = hooks("lens").recall(folder.stem(), "k1");
  ASSERT_TRUE(back);
  EXPECT_EQ(std::get<Lens>(*back).k1, -0.1);
  EXPECT_EQ(std::get<Lens>(*back).k2, 0.02);
  EXPECT_FALSE(hooks("lens").recall(folder.stem(), "k2")) << "it came from something else";
  for (const char* kind : {"lens", "camera"})
    for (const char* text :
         {"", "5", "[]", "{}", "{\"key\": 5}", "{\"key\": \"k1\"}", "{\"key\": \"k1\", \"k1\": \"0\"}",
          "{\"key\": \"k1\", \"k1\": -0.9, \"k2\": 0, \"k1_sd\": 0, \"k2_sd\": 0}",
          "{\"key\": \"k1\", \"size\": \"large\", \"frame\": [], \"focal_px\": null}"}) {
      std::ofstream(folder.stem() + ".json") << text;
      EXPECT_FALSE(hooks(kind).recall(folder.stem(), "k1")) << kind << " " << text;
    }
}

}  // namespace pw::stored_test
