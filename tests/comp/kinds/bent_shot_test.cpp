// A motion through a lens, or with rows one after the other, and what takes it for a straight one.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include "comp/kinds/stored_motion.h"
#include "shots.h"

namespace pw::bent_shot_test {

std::string remarks(const std::string& name, double readout, double readout_sd = 0, Lens lens = {}) {
  const std::string dir = test_folder("comp_kinds_test/" + name);
  Motion m{64, 48, 1, {{10, 10}, {50, 10}, {50, 40}, {10, 40}}, {{1}, {2}}};
  m.readout = readout, m.readout_sd = readout_sd, m.lens = lens;
  EXPECT_TRUE(save_motion(m, dir + "floor", "k"));
  const auto scene = shots::scene_of(dir,
                                     "shot = { size = [64, 48], frames = [1, 2], rate = 25 }\n"
                                     "red = { kind = \"colour\", value = [1, 0, 0] }\n"
                                     "floor = { kind = \"plane\", file = \"floor.json\" }\n"
                                     "held = { kind = \"stabilise\", image = \"red\", motion = \"floor\" }\n"
                                     "laid = { kind = \"pin\", image = \"held\", motion = \"floor\" }\n"
                                     "out = { kind = \"deliver\", image = \"laid\", file = \"o.#.png\" }\n");
  EXPECT_TRUE(scene) << (scene ? "" : to_string(scene.error()));
  if (!scene) return {};
  const auto results = measure(*scene, shots::sinks_of(*scene), {serial()});
  EXPECT_TRUE(results) << (results ? "" : to_string(results.error()));
  std::string all;
  for (const Problem& p : results->remarks) all += fmt::format("{}: {}; {}\n", p.line, p.what, p.remedy);
  return all;
}

TEST(BentShot, WhatCannotFollowItIsNamed) {
  EXPECT_EQ(remarks("straight", 0), "");
  EXPECT_EQ(remarks("rolling", 0.6),
            "4: held takes floor as if nothing bent it: neither lens nor readout; look at it near the picture's edges; "
            "pin alone follows what bends\n");
  EXPECT_EQ(remarks("found", 0.6, 0.01).substr(0, 88),
            "3: floor: the rows take 0.600 (+- 0.010) of a frame from the first to the last; \n4: held");
  EXPECT_EQ(remarks("lens", 0, 0, {-0.15, 0, 0.002, 0}).substr(0, 59),
            "3: floor: the lens has k1 = -0.1500 (+- 0.0020); \n4: held t");
  EXPECT_EQ(remarks("lens2", 0, 0, {-0.15, 0.01, 0.002, 0.003}).substr(0, 74),
            "3: floor: the lens has k1 = -0.1500 (+- 0.0020), k2 = 0.0100 (+- 0.0030); ");
}

TEST(BentShot, ALensIsNotFoundInRows) {
  for (const char* rows : {"readout = 0.5", "estimate_readout = true"}) {
    const auto scene =
        shots::scene_of(test_folder("comp_kinds_test/rows"),
                        fmt::format("shot = {{ size = [64, 48], frames = [1, 2], rate = 25 }}\n"
                                    "red = {{ kind = \"colour\", value = [1, 0, 0] }}\n"
                                    "floor = {{ kind = \"plane\", image = \"red\", estimate_lens = \"k1\", {},"
                                    " region = [[10, 10], [50, 10], [50, 40], [10, 40]] }}\n",
                                    rows));
    ASSERT_FALSE(scene);
    EXPECT_EQ(scene.error()[0].what, "floor.estimate_lens does not go with a readout");
    EXPECT_EQ(scene.error()[0].remedy,
              "find the lens in a shot whose camera is steady, and give it here by a node of kind lens");
  }
}

}  // namespace pw::bent_shot_test
