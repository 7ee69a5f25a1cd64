#include "comp/media/movie_index.h"

#include <gtest/gtest.h>

namespace pw::movie_index_test {

// Packets as "time, key" in decoding order.
MovieIndex of(const std::vector<std::pair<int, bool>>& packets) {
  std::vector<PacketFacts> facts;
  for (size_t i = 0; i < packets.size(); ++i)
    facts.push_back({static_cast<int64_t>(100 * i), 7, packets[i].first, {}, packets[i].second, true});
  return *MovieIndex::make(facts);
}

TEST(MovieIndex, FramesStandInTheOrderTheyAreShown) {
  const MovieIndex m = of({{0, true}, {3, false}, {1, false}, {2, false}, {4, true}});
  EXPECT_EQ(m.frames(), 5);
  EXPECT_EQ(m.packet_of(1), 2);
  EXPECT_EQ(m.packet_of(3), 1);
  EXPECT_EQ(m.frame_of(1), 3);
  EXPECT_EQ(m.start_for(3), 0);
  EXPECT_EQ(m.start_for(4), 4);
  EXPECT_EQ(m.find(200, 7), 2);
  EXPECT_FALSE(m.find(200, 8));
}

TEST(MovieIndex, ALeadingPictureStartsFromTheKeyBefore) {
  // Key 6 comes before frames 4 and 5 in the file, which lean on the group before it.
  const MovieIndex m =
      of({{0, true}, {3, false}, {1, false}, {2, false}, {6, true}, {4, false}, {5, false}, {7, false}});
  EXPECT_EQ(m.start_for(6), 4);
  EXPECT_EQ(m.start_for(7), 4);
  EXPECT_EQ(m.start_for(4), 0);
  EXPECT_EQ(m.start_for(5), 0);
  EXPECT_TRUE(m.leans_on(5, 1));
  EXPECT_FALSE(m.leans_on(7, 1));
  EXPECT_EQ(m.start_before(4), 0);
  EXPECT_EQ(m.start_before(0), 0);
}

TEST(MovieIndex, HiddenPacketsAreNoFramesAndPlacesMayBeUnknown) {
  std::vector<PacketFacts> facts = {
      {0, 7, 0, {}, true, true}, {9, 7, 1, {}, false, false}, {-1, 7, 2, {}, false, true}};
  const auto m = MovieIndex::make(facts);
  ASSERT_TRUE(m);
  EXPECT_EQ(m->frames(), 2);
  EXPECT_EQ(m->frame_of(1), -1);
  EXPECT_FALSE(m->can_seek());
  EXPECT_FALSE(m->find(0, 7));
}

TEST(MovieIndex, SaysWhatIsMissing) {
  EXPECT_EQ(to_string(MovieIndex::make({}).error()), "the movie has no frame; copy or export it again\n");
  EXPECT_EQ(to_string(MovieIndex::make({{0, 7, 0, {}, true, true}, {9, 7, {}, {}, false, true}}).error()[0]),
            "frame 2 in the file has no timestamp; put the movie into a new container with timestamps, or unpack it to "
            "numbered pictures");
  EXPECT_EQ(to_string(MovieIndex::make({{0, 7, 5, {}, true, true}, {9, 7, 5, {}, false, true}}).error()[0]),
            "frames 1 and 2 have the same timestamp; put the movie into a new container, or unpack it to numbered "
            "pictures");
}

}  // namespace pw::movie_index_test
