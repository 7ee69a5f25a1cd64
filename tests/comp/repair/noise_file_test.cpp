#include "comp/repair/noise_file.h"

#include <gtest/gtest.h>

namespace pw::noise_file_test {

Noise sample() {
  Noise n = Noise::white({{0, 0.001}, {0.18, 0.0103}, {1, 0.025}});
  n.reach = 1;
  n.spatial.fill({0, 0.25, 0, 0.5, 1, 0.5, 0, 0.25, 0});
  n.between = {{{1, 0.5, -0.25}, {0.5, 1, 0.125}, {-0.25, 0.125, 1}}};
  n.levels[2] = {{0.1, 0.02}};
  n.rain = {0.07, 0.06, 0.05};
  return n;
}

TEST(NoiseFile, ComesBackExactly) {
  const Noise n = sample();
  const auto back = parse_noise(noise_text(n), "x.json");
  ASSERT_TRUE(back) << to_string(back.error());
  EXPECT_EQ(noise_text(*back), noise_text(n));
  EXPECT_EQ(back->sigma(0, 0.18), 0.0103);
  EXPECT_EQ(back->between, n.between);
  EXPECT_EQ(back->spatial, n.spatial);
  EXPECT_EQ(back->rain, n.rain);
}

// As files were before rain was measured.
TEST(NoiseFile, NoRainIsDry) {
  std::string text = noise_text(sample());
  text.erase(text.find(",\n \"rain\""));
  const auto back = parse_noise(text + "}", "x.json");
  ASSERT_TRUE(back) << to_string(back.error());
  const std::array<double, 3> none{};
  EXPECT_EQ(back->rain, none);
}

std::string complaint_of(std::string text, const std::string& from, const std::string& to) {
  const size_t at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  const auto parsed = parse_noise(text.replace(at, from.size(), to), "x.json");
  return parsed ? "none" : to_string(parsed.error());
}

TEST(NoiseFile, SaysWhatIsWrongAndWhere) {
  const std::string good = noise_text(sample());
  const std::string remedy = "; measure the noise again, or mend the file";
  const auto says = [&](const std::string& from, const std::string& to) {
    const std::string s = complaint_of(good, from, to);
    return s.substr(0, s.find(remedy));
  };
  EXPECT_EQ(says("platewright-noise", "platewright-track"),
            "x.json:1:30: this is no noise file: its 'format' is not 'platewright-noise'");
  EXPECT_EQ(says("\"version\": 1", "\"version\": 2"),
            "x.json:1:45: the noise file has version 2, this program reads version 1");
  EXPECT_NE(says("\"reach\": 1", "\"reach\": 99").find("'reach' is no whole number from 0 to 6"), std::string::npos);
  EXPECT_NE(says("\"reach\": 1", "\"reach\": 0.5").find("'reach' is no whole number"), std::string::npos);
  EXPECT_NE(says("[0.18,", "[0,").find("'red' does not ascend in brightness"), std::string::npos);
  EXPECT_NE(says("0.0103", "-0.0103").find("no number from 0 to 1000000"), std::string::npos);
  EXPECT_NE(says("0.25,", "").find("'spatial' holds not 9 numbers"), std::string::npos);
  EXPECT_NE(says("\"green\"", "\"gren\"").find("the noise file has no 'green'"), std::string::npos);
  EXPECT_NE(says("[0.5, -0.25, 0.125]", "[0.5]").find("'between' holds not 3 numbers"), std::string::npos);
  EXPECT_NE(says("0.07, 0.06", "0.07, 6").find("'rain' holds what is no number from 0 to 1"), std::string::npos);
  EXPECT_FALSE(parse_noise("", "x.json"));
  EXPECT_FALSE(parse_noise("[]", "x.json"));
  EXPECT_FALSE(parse_noise(good.substr(0, good.size() / 2), "x.json"));
}

}  // namespace pw::noise_file_test
