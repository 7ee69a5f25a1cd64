#include "comp/graph/render.h"

#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "comp/graph/draw.h"
#include "comp/graph/key.h"
#include "toy_kinds.h"

namespace pw::render_test {

const std::vector<Kind>& kinds() {
  static const auto k = toy::kinds();
  return k;
}

Scene scene(const std::string& text, const std::string& file = "q.toml") {
  auto checked = check(*parse_shot(text, file), kinds());
  EXPECT_TRUE(checked) << (checked ? "" : to_string(checked.error()));
  auto s = survey(std::move(checked->graph));
  EXPECT_TRUE(s) << (s ? "" : to_string(s.error()));
  return *s;
}

const std::string kTwice =
    "plate = { kind = \"pattern\" }\n"
    "left = { kind = \"offset\", image = \"plate\", dx = 5, dy = -3, gain = { 1 = 1, 5 = 2 } }\n"
    "both = { kind = \"sum\", add = [\"left\", \"plate\", \"left\"] }\n"
    "out = { kind = \"collect\", image = \"both\", file = \"o.####.png\" }\n";

float expected(int x, int y, int f) {
  auto in = [](int px, int py) { return px >= 0 && py >= 0 && px < 64 && py < 48; };
  float v = 0;
  const float gain = f <= 1 ? 1.f : f >= 5 ? 2.f : float(1 + (f - 1) / 4.0);
  const float moved = in(x - 5, y + 3) ? toy::value_at(x - 5, y + 3, f) * gain : 0.f;
  v += moved;
  v += in(x, y) ? toy::value_at(x, y, f) : 0.f;
  return v + moved;
}

RenderReport run(const Scene& s, const RenderOptions& o, std::vector<int> frames = {1, 2, 3}) {
  toy::collected().clear();
  const auto results = measure(s, {s.graph.find("out")}, {o.runner});
  EXPECT_TRUE(results);
  return render(s, *results, {s.graph.find("out")}, frames, o);
}

TEST(Render, PixelsAreRightWhateverTheBandsTilesAndThreads) {
  const Scene s = scene(kTwice);
  const auto two = arena(2), mixed = shuffled(11);
  for (const Runner* runner : {&serial(), (const Runner*)two.get(), (const Runner*)mixed.get()})
    for (int band : {0, 1, 7, 30})
      for (int tile : {0, 9})
        for (int at_once : {1, 2}) {
          const auto report = run(s, {.runner = *runner,
                                      .frames_at_once = at_once,
                                      .band_height = band,
                                      .tile_width = tile,
                                      .tile_height = 5});
          EXPECT_EQ(report.written, 3);
          for (int f : {1, 2, 3}) {
            const Picture& p = toy::collected().at({"o.####.png", f});
            ASSERT_EQ(p.window(), (Rect{0, -3, 69, 48}));
            for (int y = -3; y < 48; ++y)
              for (int x = 0; x < 69; ++x) ASSERT_EQ(*p.at(x, y), expected(x, y, f)) << x << "," << y << " frame " << f;
          }
        }
}

TEST(Render, ABrokenFrameIsToldAndTheOthersGoOn) {
  const Scene s = scene(
      "plate = { kind = \"pattern\", broken = 2 }\n"
      "out = { kind = \"collect\", image = \"plate\", file = \"o.####.png\" }\n");
  const auto report = run(s, {.runner = serial()});
  EXPECT_EQ(report.written, 2);
  EXPECT_EQ(report.frames, 2);
  EXPECT_EQ(to_string(report.problems), "b.png: frame 2: the file is cut off; copy it again\n");
}

const std::string kSinks =
    "shot = { like = \"plate\" }\n"
    "plate = { kind = \"pattern\" }\n"
    "left = { kind = \"offset\", image = \"plate\", dx = 5, dy = -3 }\n"
    "far = { kind = \"offset\", image = \"left\", dx = 70 }\n"
    "bad = { kind = \"pattern\", broken = 2 }\n"
    "a = { kind = \"collect\", image = \"left\", file = \"a.####.png\" }\n"
    "b = { kind = \"collect\", image = \"far\", file = \"b.####.png\" }\n"
    "c = { kind = \"collect\", image = \"left\", file = \"c.####.png\" }\n"
    "d = { kind = \"collect\", image = \"bad\", file = \"d.####.png\" }\n";

TEST(Render, WhatSeveralSinksComeFromIsDrawnOnce) {
  const Scene s = scene(kSinks);
  const auto results = measure(s, {}, {serial()});
  const std::vector<int> sinks{s.graph.find("a"), s.graph.find("b"), s.graph.find("c")};
  const RenderOptions whole{.runner = serial(), .tile_height = 1000};
  std::map<std::pair<std::string, int>, Picture> alone;
  for (int sink : sinks) {
    toy::collected().clear();
    render(s, *results, {sink}, {1}, whole);
    alone.merge(toy::collected());
  }
  toy::offsets_made() = 0;
  EXPECT_EQ(render(s, *results, sinks, {1}, whole).written, 3);
  EXPECT_EQ(toy::offsets_made(), 2);
  for (const auto& [name, picture] : alone) {
    EXPECT_EQ(picture.window(), toy::collected().at(name).window()) << name.first;
    EXPECT_TRUE(same_bits(picture, toy::collected().at(name))) << name.first;
  }
  // Where they do not fit together they are drawn one by one.
  toy::offsets_made() = 0;
  EXPECT_EQ(render(s, *results, sinks, {1}, {.runner = serial(), .memory_limit = 60000}).written, 3);
  EXPECT_GT(toy::offsets_made(), 2);
  for (const auto& [name, picture] : alone) EXPECT_TRUE(same_bits(picture, toy::collected().at(name))) << name.first;
}

TEST(Render, OneSinkThatCannotBeDrawnLeavesTheOthers) {
  const Scene s = scene(kSinks);
  const auto results = measure(s, {}, {serial()});
  const auto report =
      render(s, *results, {s.graph.find("d"), s.graph.find("a"), s.graph.find("b")}, {1, 2}, {.runner = serial()});
  EXPECT_EQ(report.written, 5);
  EXPECT_EQ(report.frames, 1);
  EXPECT_EQ(to_string(report.problems), "b.png: frame 2: the file is cut off; copy it again\n");
}

TEST(Render, MemoryLimitMakesBands) {
  const Scene s = scene(kTwice);
  toy::collected().clear();
  const auto results = measure(s, {s.graph.find("out")}, {serial()});
  render(s, *results, {s.graph.find("out")}, {1}, {.runner = serial()});
  const Picture whole = toy::collected().at({"o.####.png", 1});
  render(s, *results, {s.graph.find("out")}, {1}, {.runner = serial(), .memory_limit = 60000});
  EXPECT_TRUE(same_bits(whole, toy::collected().at({"o.####.png", 1})));
}

TEST(Render, StopBeginsNoFurtherFrame) {
  const Scene s = scene(kTwice);
  std::atomic<bool> stop{false};
  toy::collected().clear();
  const auto results = measure(s, {s.graph.find("out")}, {serial()});
  const auto report =
      render(s, *results, {s.graph.find("out")}, {1, 2, 3, 4, 5},
             {.runner = serial(), .stop = &stop, .progress = [&](int, int done, int) { stop = done == 2; }});
  EXPECT_TRUE(report.stopped);
  EXPECT_EQ(report.written, 2);
}

TEST(Plan, RectanglesAreUnionsAndStepsFollowTheirReads) {
  const Scene s = scene(kTwice);
  const std::vector<Measured> none(s.graph.nodes.size());
  const Stage stage(s, none);
  const Plan plan = make_plan(stage, {{s.graph.find("both"), 0, 4, Rect{10, 10, 20, 20}}});
  ASSERT_EQ(plan.steps.size(), 3u);
  EXPECT_EQ(plan.steps[0].node, s.graph.find("plate"));
  EXPECT_EQ(plan.steps[0].rect, (Rect{5, 10, 20, 23}));  // (10..20, 10..20) and that moved by (-5, +3).
  EXPECT_EQ(plan.steps[0].uses, 2);
  for (size_t i = 0; i < plan.steps.size(); ++i)
    for (const Read& r : plan.steps[i].reads) EXPECT_LT(r.step, i);
  EXPECT_EQ(plan.peak_bytes(), 16 * (15 * 13 + 100 + 100));
}

class MeasureTest : public testing::Test {
 protected:
  void SetUp() override {
    char name[] = "/tmp/pw-graph-XXXXXX";
    folder_ = mkdtemp(name);
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }
  std::string folder_;
};

TEST_F(MeasureTest, IsGivenWholeFramesAndKeysTellChanges) {
  const std::string text =
      "plate = { kind = \"pattern\" }\n"
      "moved = { kind = \"offset\", image = \"plate\", gain = 2 }\n"
      "floor = { kind = \"plane\", image = \"moved\", region = [[0, 0], [9, 0], [9, 9], [0, 9]] }\n";
  const Scene s = scene(text, folder_ + "/q.toml");
  const int floor = s.graph.find("floor");
  auto results = measure(s, {floor}, {serial()});
  ASSERT_TRUE(results);
  const Motion& m = std::get<Motion>(results->measured[floor]);
  ASSERT_EQ(m.poses.size(), 9u);
  EXPECT_EQ(m.poses[4].frame_from_ref(1, 2), 2 * toy::value_at(0, 0, 5));

  auto key = [&](std::string from, std::string to) {
    std::string t = text;
    t.replace(t.find(from), from.size(), to);
    const Scene changed = scene(t, folder_ + "/q.toml");
    return cache_keys(changed)[changed.graph.find("floor")];
  };
  const std::string same = cache_keys(s)[floor];
  EXPECT_EQ(key("gain = 2", "gain = 2.0"), same);
  EXPECT_NE(key("gain = 2", "gain = 3"), same);
  EXPECT_NE(key("[9, 9]", "[9, 8]"), same);
  EXPECT_EQ(same.size(), 32u);
}

TEST_F(MeasureTest, ABrokenInputEndsItWithTheFrame) {
  const Scene s = scene(
      "plate = { kind = \"pattern\", broken = 3 }\n"
      "floor = { kind = \"plane\", image = \"plate\" }\n");
  auto results = measure(s, {s.graph.find("floor")}, {serial()});
  ASSERT_FALSE(results);
  EXPECT_EQ(to_string(results.error()), "b.png: frame 3: the file is cut off; copy it again\n");
}

}  // namespace pw::render_test
