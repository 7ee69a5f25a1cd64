// Frame numbers in file names. The rows are those of OpenImageIO's filesystem_test.cpp (published), where # stands for
// four digits and @ for one. Here one hash is one digit, the other convention in use (from memory, no source): the rows
// are stated with as many hashes as digits. printf forms mean the same in both. FFmpeg's image sequences (its image2
// documentation) take %0Nd with N digits and %% as we do.
#include <gtest/gtest.h>

#include "comp/media/frames.h"
#include "comp/media/sequence.h"

namespace pw::padding_test {

TEST(PublishedPadding, NumbersHaveThatManyDigits) {
  EXPECT_EQ(parse_pattern("foo.##.exr")->file(1), "foo.01.exr");  // There: foo.1-3@@.exr
  EXPECT_EQ(parse_pattern("foo.##.exr")->file(3), "foo.03.exr");
  EXPECT_EQ(parse_pattern("foo.#####.exr")->file(1), "foo.00001.exr");  // There: foo.1-3@#.exr
  EXPECT_EQ(parse_pattern("foo.####.exr")->file(2), "foo.0002.exr");    // There: foo.1-5y2#.exr
  EXPECT_EQ(parse_pattern("foo.%04d.exr")->file(4), "foo.0004.exr");
  EXPECT_EQ(parse_pattern("foo.%d.exr")->file(4), "foo.4.exr");
  EXPECT_EQ(parse_pattern("100%%.%03d.png")->file(7), "100%.007.png");
}

// printf: numbers wider than the pad are not truncated.
TEST(PublishedPadding, WiderNumbersAreWrittenInFull) {
  EXPECT_EQ(parse_pattern("foo.##.exr")->file(12345), "foo.12345.exr");
  EXPECT_EQ(parse_pattern("foo.%02d.exr")->file(12345), "foo.12345.exr");
}

TEST(PublishedPadding, Ranges) {
  EXPECT_EQ(*parse_frames("1-5"), (std::vector{1, 2, 3, 4, 5}));
  EXPECT_EQ(*parse_frames("1-5x2"), (std::vector{1, 3, 5}));
  EXPECT_EQ(*parse_frames("1-3,6,10-12"), (std::vector{1, 2, 3, 6, 10, 11, 12}));
  EXPECT_EQ(*parse_frames("3,4,10-20x2"), (std::vector{3, 4, 10, 12, 14, 16, 18, 20}));
  EXPECT_FALSE(parse_frames("5-1"));    // There descending; frames have no order here.
  EXPECT_FALSE(parse_frames("1-5y2"));  // There the complement; not taken here.
}

}  // namespace pw::padding_test
