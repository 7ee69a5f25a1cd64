#include "comp/graph/bars.h"

#include <gtest/gtest.h>

#include "comp/graph/key.h"
#include "comp/graph/render.h"
#include "toy_kinds.h"

namespace pw::bars_test {

const std::vector<Kind>& kinds() {
  static const auto k = toy::kinds();
  return k;
}

Scene scene(const std::string& text, double scale = 1) {
  auto checked = check(*parse_shot(text, "q.toml"), kinds());
  EXPECT_TRUE(checked) << (checked ? "" : to_string(checked.error()));
  return *survey(std::move(checked->graph), scale);
}

std::string shot(const std::string& active) {
  return "shot = { like = \"plate\" }\n"
         "plate = { kind = \"pattern\"" +
         (active.empty() ? "" : ", active = " + active) +
         " }\n"
         "other = { kind = \"pattern\" }\n"
         "left = { kind = \"offset\", image = \"plate\", dx = 5, dy = -3 }\n"
         "out = { kind = \"collect\", image = \"left\", file = \"o.####.png\" }\n"
         "else = { kind = \"collect\", image = \"other\", file = \"e.####.png\" }\n";
}

TEST(Bars, AreUnseenByTheNodesAndComeBackInTheFilesWhateverTheBands) {
  const Scene s = scene(shot("[4, 6, 60, 41]"));
  const auto results = measure(s, {}, {serial()});
  const Rect active{4, 6, 60, 41};
  EXPECT_EQ((*Stage(s, results->measured).extents(1))[s.graph.find("plate")], active);
  for (int band : {0, 7})
    for (int tile : {0, 9}) {
      toy::collected().clear();
      const auto report = render(s, *results, {s.graph.find("out"), s.graph.find("else")}, {1, 2},
                                 {.runner = serial(), .band_height = band, .tile_width = tile});
      EXPECT_EQ(report.written, 4);
      for (int f : {1, 2}) {
        const Picture &moved = toy::collected().at({"o.####.png", f}), &other = toy::collected().at({"e.####.png", f});
        ASSERT_EQ(moved.window(), (Rect{0, 0, 64, 48}));
        ASSERT_EQ(other.window(), (Rect{0, 0, 64, 48}));
        for (int y = 0; y < 48; ++y)
          for (int x = 0; x < 64; ++x) {
            const bool from_active = active.contains(x - 5, y + 3);
            const float inside = from_active ? toy::value_at(x - 5, y + 3, f) : 0.f;
            ASSERT_EQ(*moved.at(x, y), active.contains(x, y) ? inside : toy::value_at(x, y, f)) << x << "," << y;
            ASSERT_EQ(*other.at(x, y), toy::value_at(x, y, f));
          }
      }
    }
}

TEST(Bars, MeasuresDoNotSeeThem) {
  const Scene s = scene(
      "plate = { kind = \"pattern\", active = [0, 6, 64, 41] }\n"
      "none = { kind = \"offset\", image = \"plate\", dy = -6 }\n"
      "track = { kind = \"plane\", image = \"none\" }\n");
  const auto results = measure(s, {s.graph.find("track")}, {serial()});
  ASSERT_TRUE(results);
  // The toy measure tells the value of the first pixel it is given: the first of the active part, moved up by six rows.
  EXPECT_EQ(std::get<Motion>(results->measured[s.graph.find("track")]).find(1)->frame_from_ref(1, 2),
            toy::value_at(0, 6, 1));
}

TEST(Bars, AProxyTakesNoneOfThemIn) {
  const Survey files{.width = 64, .height = 48, .active = {3, 5, 61, 43}};
  Shot shot;
  shot.width = 64, shot.height = 48;
  EXPECT_EQ(active_part(files, shot), (Rect{3, 5, 61, 43}));
  shot.scale = 0.5;
  EXPECT_EQ(active_part(files, shot), (Rect{2, 3, 30, 21}));
  EXPECT_EQ(active_part(Survey{.width = 64, .height = 48}, shot), kEverywhere);
}

TEST(Bars, AFileComesFromThemToo) {
  const auto key = [](const std::string& active, const char* node) {
    const Scene s = scene(shot(active));
    return cache_keys(s)[s.graph.find(node)];
  };
  EXPECT_NE(key("[4, 6, 60, 41]", "else"), key("", "else"));
  EXPECT_NE(key("[4, 6, 60, 41]", "else"), key("[4, 6, 60, 40]", "else"));
  EXPECT_EQ(key("[4, 6, 60, 41]", "other"), key("", "other"));
}

}  // namespace pw::bars_test
