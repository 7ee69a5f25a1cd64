#include "comp/media/rate.h"

#include <gtest/gtest.h>

namespace pw::rate_test {

TEST(Rate, IsTheRatioThatIsMeant) {
  EXPECT_EQ(exact_rate(24), (Ratio{24, 1}));
  EXPECT_EQ(exact_rate(23.976), (Ratio{24000, 1001}));
  EXPECT_EQ(exact_rate(24000 / 1001.0), (Ratio{24000, 1001}));
  EXPECT_EQ(exact_rate(29.97), (Ratio{30000, 1001}));
  EXPECT_EQ(exact_rate(59.94), (Ratio{60000, 1001}));
  EXPECT_EQ(exact_rate(12.5), (Ratio{25, 2}));
  EXPECT_EQ(exact_rate(0.1), (Ratio{1, 10}));
  EXPECT_EQ(to_string(Ratio{30000, 1001}), "30000/1001");
  EXPECT_EQ(to_string(Ratio{25, 1}), "25");
}

TEST(Rate, IsConstantWhenTicksAreOnlyRounded) {
  std::vector<int64_t> milliseconds, jittered;
  for (int i = 0; i < 500; ++i) {
    milliseconds.push_back(static_cast<int64_t>(i * 1001000.0 / 24000 + 0.5));
    jittered.push_back(i * 40 + (i % 7 == 3 ? 9 : 0));
  }
  const Timing t = timing(milliseconds, {1, 1000}, {{2997, 125}, {24, 1}});
  EXPECT_TRUE(t.constant);
  EXPECT_EQ(t.rate, (Ratio{24000, 1001}));
  EXPECT_FALSE(timing(jittered, {1, 1000}, {{25, 1}}).constant);
  EXPECT_EQ(timing(jittered, {1, 1000}, {{25, 1}}).rate, (Ratio{25, 1}));
  EXPECT_EQ(timing({0}, {1, 1000}, {}).rate, (Ratio{24, 1}));
  EXPECT_EQ(timing({0, 40, 80}, {1, 1000}, {{0, 0}}).rate, (Ratio{25, 1}));
}

TEST(Rate, TheFrameOnShow) {
  const std::vector<int64_t> times = {100, 140, 300};
  EXPECT_EQ(frame_at(times, {1, 1000}, -1), 0);
  EXPECT_EQ(frame_at(times, {1, 1000}, 0), 0);
  EXPECT_EQ(frame_at(times, {1, 1000}, 0.0385), 0);
  EXPECT_EQ(frame_at(times, {1, 1000}, 0.0395), 1);  // A tick is forgiven.
  EXPECT_EQ(frame_at(times, {1, 1000}, 0.19), 1);
  EXPECT_EQ(frame_at(times, {1, 1000}, 0.2), 2);
  EXPECT_EQ(frame_at(times, {1, 1000}, 99), 2);
}

}  // namespace pw::rate_test
