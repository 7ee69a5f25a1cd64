#include "comp/media/sequence.h"

#include <gtest/gtest.h>

#include "samples.h"

namespace pw::sequence_test {

std::string problem(const auto& result) { return result ? "" : to_string(result.error()[0]); }

TEST(Pattern, PutsTheNumberWhereTheHashesAre) {
  const auto p = parse_pattern("shots#1/quay.####.png");
  ASSERT_TRUE(p);
  EXPECT_EQ(p->head, "shots#1/quay.");
  EXPECT_EQ(p->tail, ".png");
  EXPECT_EQ(p->digits, 4);
  EXPECT_EQ(p->file(17), "shots#1/quay.0017.png");
  EXPECT_EQ(p->file(12345), "shots#1/quay.12345.png");
  EXPECT_EQ(p->file(-5), "shots#1/quay.-005.png");
  EXPECT_EQ(parse_pattern("#.png")->file(3), "3.png");
  EXPECT_EQ(parse_pattern("a%04d.png")->file(3), "a0003.png");
  EXPECT_EQ(parse_pattern("a%d.png")->file(3), "a3.png");
  EXPECT_EQ(parse_pattern("50%%.##.png")->file(3), "50%.03.png");
  EXPECT_TRUE(looks_like_pattern("a/b.##.png"));
  EXPECT_TRUE(looks_like_pattern("a/b.%d.png"));
  EXPECT_FALSE(looks_like_pattern("a#/b.png"));
}

TEST(Pattern, SaysWhatIsWrong) {
  EXPECT_EQ(problem(parse_pattern("quay.png")),
            "quay.png: the name has no place for the frame number; write #### where the number is");
  EXPECT_EQ(problem(parse_pattern("in/quay.0017.png")),
            "in/quay.0017.png: the name has no place for the frame number; write in/quay.####.png");
  EXPECT_EQ(problem(parse_pattern("a.##.##.png")),
            "a.##.##.png: the name has 2 places for the frame number; leave one");
  EXPECT_EQ(problem(parse_pattern("a.##.%02d.png")),
            "a.##.%02d.png: the name has 2 places for the frame number; leave one");
  const std::string how = " is no frame number; write #### or %04d for a number of four digits, %% for a percent sign";
  EXPECT_EQ(problem(parse_pattern("a.%4d.png")), "a.%4d.png: \"%4d\"" + how);
  EXPECT_EQ(problem(parse_pattern("a.%s.png")), "a.%s.png: \"%s\"" + how);
  EXPECT_EQ(problem(parse_pattern("a.%")), "a.%: \"%\"" + how);
  EXPECT_EQ(problem(parse_pattern("a.%0000004d.png")), "a.%0000004d.png: \"%0000004d\"" + how);
  EXPECT_EQ(problem(parse_pattern("a.############.png")),
            "a.############.png: the frame number has 12 digits; up to 9 are handled");
}

TEST(Scan, FindsTheFramesThatFit) {
  const std::string dir = samples::folder();
  for (const char* n : {"a.0003.png", "a.0001.png", "a.12345.png", "a.00007.png", "a.5.png", "b.0002.png", "a.0004.exr",
                        "a.00x4.png", "a..png", "a.-002.png"})
    samples::write_text(dir + n, "x");
  EXPECT_EQ(*scan_frames(*parse_pattern(dir + "a.####.png")), (std::vector{-2, 1, 3, 12345}));
  EXPECT_EQ(*scan_frames(*parse_pattern(dir + "a.%04d.png")), (std::vector{-2, 1, 3, 12345}));
  EXPECT_EQ(*scan_frames(*parse_pattern(dir + "a.%d.png")), (std::vector{5, 12345}));
}

TEST(Scan, SaysWhatIsWrong) {
  const std::string dir = samples::folder();
  for (const char* n : {"quay.001.png", "quay.002.png", "note.txt"}) samples::write_text(dir + n, "x");
  EXPECT_EQ(problem(scan_frames(*parse_pattern(dir + "quay.####.png"))),
            dir + "quay.####.png: no file fits the pattern; did you mean " + dir + "quay.###.png?");
  EXPECT_EQ(problem(scan_frames(*parse_pattern(dir + "quay.####.exr"))),
            dir + "quay.####.exr: no file fits the pattern; check the name, and that the frames are there");
  EXPECT_EQ(problem(scan_frames(*parse_pattern(dir + "no/quay.####.exr"))),
            dir + "no/quay.####.exr: there is no folder " + dir + "no; check the path");
}

void write_frame(const std::string& path, int w, int h, unsigned char value) {
  OIIO::ImageSpec s(w, h, 3, OIIO::TypeDesc::UINT8);
  samples::write_file(path, s, std::vector<unsigned char>(static_cast<size_t>(w) * h * 3, value));
}

TEST(Sequence, IsReadFrameByFrame) {
  const std::string dir = samples::folder();
  for (int f : {8, 9, 11}) write_frame(dir + "q." + std::to_string(f) + ".png", 6, 4, static_cast<unsigned char>(f));
  const auto s = open_sequence(dir + "q.#.png", {Encoding::linear});
  ASSERT_TRUE(s);
  EXPECT_EQ(s->frames, (std::vector{8, 9, 11}));
  EXPECT_EQ(s->first.width, 6);
  const auto frame = read_frame(*s, 11);
  ASSERT_TRUE(frame);
  EXPECT_FLOAT_EQ(frame->picture.at(5, 3)[2], 11 / 255.f);
  EXPECT_EQ(problem(read_frame(*s, 10)), dir + "q.10.png: frame 10: the frame is missing; there are 8-9, 11");
}

TEST(Sequence, NamesTheFrameThatHasAnotherSize) {
  const std::string dir = samples::folder();
  for (int f : {1, 2}) write_frame(dir + "q.000" + std::to_string(f) + ".png", 6, 4, 1);
  write_frame(dir + "q.0003.png", 8, 4, 1);
  const auto s = open_sequence(dir + "q.####.png");
  ASSERT_TRUE(read_frame(*s, 2));
  EXPECT_EQ(problem(read_frame(*s, 3)),
            dir + "q.0003.png: frame 3: the picture is 8 x 4, but " + dir +
                "q.0001.png is 6 x 4; render it again at that size, or name the two runs as two nodes");
}

TEST(Sequence, NamesTheFrameThatIsBroken) {
  const std::string dir = samples::folder();
  for (int f : {1, 2, 3}) write_frame(dir + "q.000" + std::to_string(f) + ".png", 6, 4, 1);
  auto bytes = samples::bytes_of(dir + "q.0002.png");
  bytes.resize(bytes.size() / 2);
  samples::write_bytes(dir + "q.0002.png", bytes);
  const auto s = open_sequence(dir + "q.####.png");
  ASSERT_TRUE(s);
  EXPECT_EQ(problem(read_frame(*s, 2)), dir + "q.0002.png: frame 2: the file is cut off; copy or render it again");
  EXPECT_TRUE(read_frame(*s, 3));
  samples::write_bytes(dir + "q.0001.png", {});
  EXPECT_EQ(problem(open_sequence(dir + "q.####.png")), dir + "q.0001.png: the file is empty; copy or render it again");
}

}  // namespace pw::sequence_test
