#include "comp/media/probe.h"

#include <gtest/gtest.h>

#include "samples.h"

namespace pw {
namespace {

TEST(Probe, SaysWhatAStillIs) {
  const std::string file = samples::folder() + "a.exr";
  ASSERT_TRUE(write_still(file, samples::ramp({-8, -4, 40, 30}, 4), {.width = 32, .height = 20}));
  const auto p = probe(file);
  ASSERT_TRUE(p);
  EXPECT_EQ(p->kind, Probe::Kind::still);
  EXPECT_EQ(lines(*p), (std::vector<std::string>{file + ": EXR picture", "size         32 x 20",
                                                 "data window  -8, -4 to 40, 30 (48 x 34)", "channels     4 (R G B A)",
                                                 "depth        16 bit float", "compression  zip",
                                                 "encoding     linear (usual for float)", "Software     Platewright"}));
}

TEST(Probe, SaysWhatASequenceIsAndWhatIsMissing) {
  const std::string dir = samples::folder();
  for (int f : {10, 11, 15})
    ASSERT_TRUE(write_still(dir + "q.00" + std::to_string(f) + ".png", samples::ramp({0, 0, 6, 4}, 3)));
  const auto p = probe(dir + "q.####.png");
  ASSERT_TRUE(p);
  EXPECT_EQ(p->kind, Probe::Kind::sequence);
  EXPECT_EQ(p->frames, (std::vector{10, 11, 15}));
  const auto said = lines(*p);
  EXPECT_EQ(said[0], dir + "q.####.png: PNG sequence");
  EXPECT_EQ(said[1], "frames       10-11, 15 (3)");
  EXPECT_EQ(said[2], "gaps         frames 12-14 are missing");
  EXPECT_EQ(said[3], "size         6 x 4");
}

TEST(Probe, NamesAMovieByItsContent) {
  const std::string file = samples::folder() + "yard.png";
  samples::write_bytes(file, {0x1a, 0x45, 0xdf, 0xa3, 1, 2, 3, 4});
  const auto p = probe(file);
  ASSERT_TRUE(p);
  EXPECT_EQ(p->kind, Probe::Kind::movie);
  EXPECT_EQ(lines(*p), (std::vector<std::string>{file + ": a Matroska or WebM movie",
                                                 "unpack it to numbered pictures (PNG, TIFF or EXR) to use it"}));
}

TEST(Probe, SaysWhatIsWrong) {
  const std::string dir = samples::folder();
  EXPECT_EQ(to_string(probe(dir + "no.png").error()[0]), dir + "no.png: there is no such file; check the name");
  EXPECT_EQ(to_string(probe(dir + "no.##.png").error()[0]),
            dir + "no.##.png: no file fits the pattern; check the name, and that the frames are there");
}

}  // namespace
}  // namespace pw
