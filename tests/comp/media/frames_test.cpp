#include "comp/media/frames.h"

#include <gtest/gtest.h>

namespace pw::frames_test {

TEST(Frames, AreReadAsAPersonWritesThem) {
  EXPECT_EQ(*parse_frames("7"), std::vector{7});
  EXPECT_EQ(*parse_frames("1-5"), (std::vector{1, 2, 3, 4, 5}));
  EXPECT_EQ(*parse_frames("1-6x2"), (std::vector{1, 3, 5}));
  EXPECT_EQ(*parse_frames("12, 5,9 , 5"), (std::vector{5, 9, 12}));
  EXPECT_EQ(*parse_frames("-2-1"), (std::vector{-2, -1, 0, 1}));
  EXPECT_EQ(*parse_frames("-3--2"), (std::vector{-3, -2}));
  EXPECT_EQ(parse_frames("2147483646-2147483647")->size(), 2u);
}

std::string problem(std::string_view text) {
  const auto r = parse_frames(text);
  return r ? "" : to_string(r.error()[0]);
}

TEST(Frames, SaysWhatIsWrong) {
  const std::string how = "; write them like 1-48, 1-48x2 (every second) or 5,9,12";
  EXPECT_EQ(problem(""), "\"\" names no frames" + how);
  EXPECT_EQ(problem("1,,3"), "\"\" names no frames" + how);
  EXPECT_EQ(problem("all"), "\"all\" names no frames" + how);
  EXPECT_EQ(problem("1-"), "\"1-\" names no frames" + how);
  EXPECT_EQ(problem("1-5x"), "\"1-5x\" names no frames" + how);
  EXPECT_EQ(problem("1-5y2"), "\"1-5y2\" names no frames" + how);
  EXPECT_EQ(problem("1.5"), "\"1.5\" names no frames" + how);
  EXPECT_EQ(problem("99999999999"), "\"99999999999\" names no frames" + how);
  EXPECT_EQ(problem("5-1"), "the frames 5-1 run backwards; write 1-5");
  EXPECT_EQ(problem("1-5x0"), "the frames 1-5x0 have a step of 0; steps are 1 or more");
  EXPECT_EQ(problem("1-2000000"), "\"1-2000000\" names more than a million frames; name fewer");
  EXPECT_EQ(problem("-2147483648-2147483647"),
            "\"-2147483648-2147483647\" names more than a million frames; name fewer");
}

TEST(Frames, AreWrittenShort) {
  EXPECT_EQ(frames_text({}), "none");
  EXPECT_EQ(frames_text({4}), "4");
  EXPECT_EQ(frames_text({1, 2, 3, 5, 7, 8}), "1-3, 5, 7-8");
}

TEST(Frames, GapsAreNamed) {
  EXPECT_EQ(gaps({1, 2, 3}), std::vector<int>{});
  EXPECT_EQ(gaps({}), std::vector<int>{});
  EXPECT_EQ(gaps({10, 11, 15, 19, 21}), (std::vector{12, 13, 14, 16, 17, 18, 20}));
  EXPECT_EQ(missing_text({20}), "frame 20 is missing");
  EXPECT_EQ(missing_text({12, 13, 14, 20}), "frames 12-14, 20 are missing");
  EXPECT_EQ(missing_text({}), "");
  EXPECT_LE(gaps({-2147483647, 2147483647}).size(), 1000000u);  // Absurd numbers cost no memory.
}

TEST(Frames, TextIsReadBack) {
  for (const std::vector<int>& f : {std::vector{1}, std::vector{-3, -2, -1, 0, 9}, std::vector{1, 3, 5, 6, 7}})
    EXPECT_EQ(*parse_frames(frames_text(f)), f);
}

}  // namespace pw::frames_test
