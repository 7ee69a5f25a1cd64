#include "comp/colour/cdl_file.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "base/random.h"

namespace pw::cdl_file_test {

const std::string kWhole =
    "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
    "<ColorCorrection id=\"hall\" xmlns=\"urn:ASC:CDL:v1.2\">\n"
    "  <Description>evening</Description>\n"
    "  <SOPNode>\n"
    "    <Description>warmer</Description>\n"
    "    <Slope>1.1 1 .9</Slope>\n"
    "    <Offset>\t-0.02 +0.01\n 1e-3 </Offset>\n"
    "    <Power>1 1.25 1.5</Power>\n"
    "  </SOPNode>\n"
    "  <SatNode><Saturation>0.8</Saturation></SatNode>\n"
    "</ColorCorrection>\n";
const Cdl kHall{{1.1, 1, 0.9}, {-0.02, 0.01, 0.001}, {1, 1.25, 1.5}, 0.8};

std::string replaced(const std::string& from, const std::string& to) {
  std::string s = kWhole;
  return s.replace(s.find(from), from.size(), to);
}
std::string message(const std::string& text) {
  const auto c = parse_cdl(text, "hall.cc");
  return c ? "" : to_string(c.error()[0]);
}

TEST(CdlFile, ReadsWhole) {
  const auto c = parse_cdl(kWhole, "hall.cc");
  ASSERT_TRUE(c) << to_string(c.error());
  EXPECT_EQ(*c, kHall);
}

TEST(CdlFile, ReadsWhatIsThere) {
  // Old files write SATNode; a prefix may stand before names; what is left out is neutral.
  EXPECT_EQ(
      parse_cdl("<ColorCorrection><SATNode><Saturation>2</Saturation></SATNode></ColorCorrection>", "f")->saturation,
      2);
  EXPECT_EQ(parse_cdl("<c:ColorCorrection xmlns:c='urn:ASC:CDL:v1.01'><c:SOPNode><c:Slope>2 3 4</c:Slope></c:SOPNode>"
                      "</c:ColorCorrection>",
                      "f")
                ->slope,
            (std::array<double, 3>{2, 3, 4}));
}

TEST(CdlFile, WritesWhatItReads) {
  for (const Cdl& cdl : {Cdl{}, kHall, Cdl{{1 / 3., 0, 1e-7}, {-12.5, 1e5, 0}, {1e-3, 2, 3}, 0}}) {
    const std::string text = cdl_text(cdl, "a<b>&\"c\"", "acts on srgb & more");
    const auto back = parse_cdl(text, "back.cc");
    ASSERT_TRUE(back) << to_string(back.error());
    EXPECT_EQ(*back, cdl);
  }
}

TEST(CdlFile, SaysWhatIsWrongAndWhere) {
  EXPECT_EQ(message(replaced("1.1 1 .9", "1.1 1")),
            "hall.cc:6:6: <Slope> is not three numbers; write red, green, blue with spaces between");
  EXPECT_EQ(message(replaced("1.1 1 .9", "1.1, 1, .9")),
            "hall.cc:6:6: <Slope> is not three numbers; write red, green, blue with spaces between");
  EXPECT_EQ(message(replaced("1.1 1 .9", "1 1 1 1")),
            "hall.cc:6:6: <Slope> holds more than three numbers; take the rest out");
  EXPECT_EQ(message(replaced("1.1 1 .9", "1.1 -1 .9")), "hall.cc:6:6: <Slope> holds -1; it may be 0 to 1000000");
  EXPECT_EQ(message(replaced("1 1.25 1.5", "1 0 1")),
            "hall.cc:9:6: <Power> holds 0; it must be above 0 and at most 1000000");
  EXPECT_EQ(message(replaced("0.8", "nan")), "hall.cc:11:13: <Saturation> holds nan; it may be 0 to 1000000");
  EXPECT_EQ(message(replaced("<Power>1 1.25 1.5</Power>", "<Slope>1 1 1</Slope>")),
            "hall.cc:9:6: <Slope> stands twice; keep the one that is meant");
  EXPECT_EQ(message("<ColorDecisionList/>"),
            "hall.cc:1:2: holds a <ColorDecisionList>; save the one <ColorCorrection> that is meant as a .cc file");
  EXPECT_EQ(message("<svg/>"), "hall.cc:1:2: holds <svg>, no <ColorCorrection>; name a .cc file of the ASC CDL");
  EXPECT_EQ(message("<ColorCorrection id='a'/>"),
            "hall.cc:1:2: holds neither an <SOPNode> nor a <SatNode>; export the correction again");
  EXPECT_NE(message("").find("is not well-formed XML"), std::string::npos);
  EXPECT_NE(message(kWhole.substr(0, 300)).find("is not well-formed XML"), std::string::npos);
  EXPECT_EQ(message(std::string(2 << 20, ' ')), "hall.cc: is larger than a correction ever is (1 MB); name a .cc file");
}

TEST(CdlFile, HostileTextIsRefusedOrHarmless) {
  std::string deep,
      entities = "<!DOCTYPE x [<!ENTITY a \"1 1 1\"><!ENTITY b \"&a;&a;&a;\">]>" + replaced("1.1 1 .9", "&b;");
  for (int i = 0; i < 100000; ++i) deep += "<SOPNode>";
  EXPECT_NE(message(deep), "");
  EXPECT_NE(message(entities), "");  // Entities are never replaced.
  EXPECT_NE(message(std::string(100000, '<')), "");
  EXPECT_NE(message(std::string("\0\0\0\0<", 5)), "");
}

// Bytes changed, taken out and put in at random: a problem or legal numbers, never a crash.
TEST(CdlFile, DamagedText) {
  int read = 0;
  for (uint32_t i = 0; i < 20000; ++i) {
    std::string text = kWhole;
    for (uint32_t n = 0; n <= i % 4; ++n) {
      const RandomBits b = random_bits(11, {i, n, 0, 0});
      const size_t at = b[0] % text.size();
      if (b[1] % 3 == 0)
        text[at] = static_cast<char>(b[2]);
      else if (b[1] % 3 == 1)
        text.erase(at, 1 + b[2] % 20);
      else
        text.insert(at, text.substr(b[2] % text.size(), b[3] % 30));
    }
    const auto c = parse_cdl(text, "damaged.cc");
    if (!c) {
      ASSERT_FALSE(to_string(c.error()).empty());
      continue;
    }
    ++read;
    for (int k = 0; k < 3; ++k) ASSERT_TRUE(c->slope[k] >= 0 && c->power[k] > 0 && std::abs(c->offset[k]) <= 1e6);
    ASSERT_TRUE(c->saturation >= 0);
  }
  EXPECT_GT(read, 1000);  // Else the damage was too great to test anything.
}

TEST(CdlFile, FilesThatAreNoFiles) {
  const std::string folder = testing::TempDir() + "cdl_file";
  std::filesystem::create_directories(folder);
  std::ofstream(folder + "/hall.cc") << kWhole;
  EXPECT_EQ(*load_cdl(folder + "/hall.cc"), kHall);
  std::ofstream(folder + "/large.cc") << std::string(3 << 20, 'x');
  EXPECT_FALSE(load_cdl(folder + "/large.cc"));
  EXPECT_FALSE(load_cdl(folder));
  EXPECT_EQ(to_string(load_cdl(folder + "/none.cc").error()[0]),
            folder + "/none.cc: the correction cannot be read: No such file or directory; check the name");
  std::filesystem::remove_all(folder);
}

}  // namespace pw::cdl_file_test
