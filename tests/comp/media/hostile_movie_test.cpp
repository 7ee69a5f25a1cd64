// Movies with bits turned over: whatever comes, the answer is frames or problems, and a frame has the size that was
// said.
#include <gtest/gtest.h>

#include <random>

#include "clips.h"

namespace pw::hostile_movie_test {

constexpr const char* kCoders[] = {
    "h.mp4 -pix_fmt yuv420p -c:v libx264 -bf 2 -g 5", "h.mkv -pix_fmt yuv420p -c:v libx264 -bf 2 -g 5",
    "h.avi -pix_fmt yuv420p -c:v libx264 -bf 2 -g 5", "p.mov -pix_fmt yuv422p10le -c:v prores_ks",
    "f.mkv -pix_fmt yuv422p10le -c:v ffv1 -level 3",
};
constexpr int kFlipped = 10;  // Of each.

TEST(HostileMovie, TurnedBitsAreAnsweredWithFramesOrProblems) {
  const std::string dir = samples::folder();
  int opened = 0, frames = 0, problems = 0;
  for (const std::string coder : kCoders) {
    const size_t space = coder.find(' ');
    const std::string file = dir + coder.substr(0, space), hurt = dir + "hurt" + file.substr(file.rfind('.'));
    clips::ffmpeg(clips::card(8, "", "48x32") + coder.substr(space) + " " + file);
    const std::vector<unsigned char> whole = samples::bytes_of(file);
    ASSERT_FALSE(whole.empty());
    for (int i = 0; i < kFlipped; ++i) {
      std::mt19937 g(static_cast<unsigned>(i) + 100);
      auto bytes = whole;
      const int flips = 1 << (i % 6);
      for (int k = 0; k < flips; ++k) bytes[g() % bytes.size()] ^= static_cast<unsigned char>(1u << g() % 8);
      samples::write_bytes(hurt, bytes);
      const auto movie = Movie::open(hurt);
      if (!movie) {
        EXPECT_FALSE(movie.error().empty());
        continue;
      }
      ++opened;
      const MovieInfo& info = (*movie)->info();
      const int count = std::min(info.frames, 20);
      for (int n = count - 1; n >= 0; --n) {
        const auto p = (*movie)->read(n);
        (p ? frames : problems) += 1;
        if (p) {
          EXPECT_EQ(p->window(), Rect::sized(info.width, info.height));
        } else {
          EXPECT_EQ(p.error()[0].file, hurt);
        }
      }
    }
  }
  fmt::print("{} of {} opened, {} frames read, {} told as damaged\n", opened, kFlipped * int(std::size(kCoders)),
             frames, problems);
  EXPECT_GT(opened, 0);
  EXPECT_GT(frames, 0);
  EXPECT_GT(problems, 0);
}

}  // namespace pw::hostile_movie_test
