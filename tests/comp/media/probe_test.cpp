#include "comp/media/probe.h"

#include <fmt/ranges.h>
#include <gtest/gtest.h>

#include <filesystem>

#include "clips.h"

namespace pw::probe_test {

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

TEST(Probe, SaysWhatAMovieIsWhateverItIsCalled) {
  const std::string dir = samples::folder(), file = dir + "quay.png";
  clips::ffmpeg(
      "-f lavfi -i testsrc2=size=96x64:rate=30000/1001 -f lavfi -i sine=sample_rate=48000 -t 2 -vf "
      "setparams=colorspace=bt709:color_trc=bt709:color_primaries=bt709:range=tv -pix_fmt yuv422p10le -c:v prores_ks "
      "-profile:v 3 -c:a pcm_s16le -timecode 10:00:00:00 -f mov " +
      file);
  const auto p = probe(file);
  ASSERT_TRUE(p);
  EXPECT_EQ(p->kind, Probe::Kind::movie);
  // The file is pictures, two seconds of 16 bits at 48000 Hz, and little else.
  EXPECT_NEAR(p->movie.bits_per_pixel, 8 * (double(std::filesystem::file_size(file)) - 192000) / (60 * 96 * 64), 0.1);
  EXPECT_EQ(lines(*p),
            (std::vector<std::string>{
                file + ": movie", "container    QuickTime / MOV", "coder        prores (HQ)",
                "frames       1-60 (2.00 s)", fmt::format("data         {:.3g} bits a pixel", p->movie.bits_per_pixel),
                "rate         30000/1001 a second", "size         96 x 64", "samples      4:2:2, 10 bit",
                "matrix       rec709 (as the file says)", "range        narrow (as the file says)",
                "siting       left (usual for movies)", "encoding     rec709-camera (as the file says)",
                "primaries    bt709", "timecode     10:00:00:00", "sound        pcm_s16le, 48000 Hz, 1 channel"}));
  samples::write_bytes(file, {0x1a, 0x45, 0xdf, 0xa3, 0x81, 2, 3, 4});
  EXPECT_EQ(clips::told(probe(file).error()), file + ": the file is cut off; copy or render it again");
}

TEST(Probe, SaysWhenAMovieHoldsTooLittleToBeTracked) {
  const std::string file = samples::folder() + "thin.mp4";
  for (const int kbit : {30, 600}) {
    clips::ffmpeg(fmt::format(
        "-f lavfi -i mandelbrot=size=320x240:rate=25 -t 2 -pix_fmt yuv420p -c:v libx264 -b:v {}k {}", kbit, file));
    const auto p = probe(file);
    ASSERT_TRUE(p);
    const std::string all = fmt::format("{}", fmt::join(lines(*p), "\n"));
    EXPECT_EQ(all.find("few: what moves is shown displaced") != std::string::npos, kbit == 30) << all;
  }
}

TEST(Probe, SaysWhatIsWrong) {
  const std::string dir = samples::folder();
  EXPECT_EQ(to_string(probe(dir + "no.png").error()[0]), dir + "no.png: there is no such file; check the name");
  EXPECT_EQ(to_string(probe(dir + "no.##.png").error()[0]),
            dir + "no.##.png: no file fits the pattern; check the name, and that the frames are there");
}

}  // namespace pw::probe_test
