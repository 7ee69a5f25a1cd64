// Movies that are not as they should be: whatever comes, the answer is frames or problems, and a frame has the size
// that was said.
#include <gtest/gtest.h>

#include <algorithm>
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

std::string opened(const std::string& file) {
  const auto movie = Movie::open(file);
  return movie ? "no problem" : clips::told(movie.error());
}

using Bytes = std::vector<unsigned char>;

size_t find(const Bytes& in, std::string_view what, size_t from = 0) {
  const auto it = std::search(in.begin() + static_cast<long>(from), in.end(), what.begin(), what.end());
  EXPECT_NE(it, in.end()) << what;
  return static_cast<size_t>(it - in.begin());
}

void put_big(Bytes& in, size_t at, uint32_t value) {
  for (size_t i = 0; i < 4; ++i) in[at + i] = static_cast<unsigned char>(value >> (24 - 8 * i));
}

TEST(HostileMovie, OneFrameIsAMovie) {
  const std::string dir = samples::folder();
  for (const std::string coder : {"a.mp4 -pix_fmt yuv420p -c:v libx264", "a.mov -pix_fmt yuv422p10le -c:v prores_ks",
                                  "a.mkv -pix_fmt yuv420p -c:v ffv1", "a.avi -pix_fmt yuvj420p -c:v mjpeg",
                                  "a.ts -pix_fmt yuv420p -c:v libx264", "a.flv -pix_fmt yuv420p -c:v libx264"}) {
    SCOPED_TRACE(coder);
    const size_t space = coder.find(' ');
    const std::string file = dir + coder.substr(0, space);
    clips::ffmpeg(clips::card(1, "", "48x32") + coder.substr(space) + " " + file);
    const auto movie = Movie::open(file);
    ASSERT_TRUE(movie) << clips::told(movie.error());
    EXPECT_EQ((*movie)->info().frames, 1);
    EXPECT_EQ((*movie)->info().timing.rate, (Ratio{25, 1}));
    EXPECT_TRUE((*movie)->info().timing.constant);
    EXPECT_EQ((*movie)->frame_at(7), 0);
    const auto p = (*movie)->read(0);
    ASSERT_TRUE(p) << clips::told(p.error());
    EXPECT_EQ(p->window(), Rect::sized(48, 32));
  }
}

TEST(HostileMovie, AbsurdRatesAreRefused) {
  const std::string dir = samples::folder();
  const auto at = [&](const std::string& rate, const std::string& name) {
    clips::ffmpeg(fmt::format("-f lavfi -i testsrc2=size=48x32:rate={} -frames:v 3 -pix_fmt yuvj420p -c:v mjpeg {}{}",
                              rate, dir, name));
    return opened(dir + name);
  };
  const auto refused = [&](const char* name, const char* rate) {
    return fmt::format(
        "{}{}: the movie has {} frames a second; put it into a new container at its true rate (0.1 to 1000)", dir, name,
        rate);
  };
  EXPECT_EQ(at("1/100", "slow.mov"), refused("slow.mov", "0.01"));
  EXPECT_EQ(at("5000", "fast.mov"), refused("fast.mov", "5000"));
  EXPECT_EQ(at("1000", "most.mov"), "no problem");
  EXPECT_EQ(at("1/10", "least.mov"), "no problem");
  EXPECT_EQ(at("25", "a.avi"), "no problem");
  // What AVI says of its rate, in 1/scale of a second: nothing, and as much as fits.
  Bytes avi = samples::bytes_of(dir + "a.avi");
  const size_t scale = find(avi, "strh") + 8 + 20;
  std::fill_n(avi.begin() + static_cast<long>(scale), 8, 0);
  samples::write_bytes(dir + "zero.avi", avi);
  const auto zero = Movie::open(dir + "zero.avi");  // Its main header has the duration of a frame.
  ASSERT_TRUE(zero) << clips::told(zero.error());
  EXPECT_EQ((*zero)->info().timing.rate, (Ratio{25, 1}));
  avi[scale] = 1;
  std::fill_n(avi.begin() + static_cast<long>(scale) + 4, 4, 0xff);
  samples::write_bytes(dir + "big.avi", avi);
  EXPECT_NE(opened(dir + "big.avi").find("frames a second; put it into"), std::string::npos) << opened(dir + "big.avi");
  // The duration of a frame in a movie of otherwise sane ticks.
  Bytes mov = samples::bytes_of(dir + "most.mov");
  put_big(mov, find(mov, "stts") + 16, 0x7fffffff);
  samples::write_bytes(dir + "long.mov", mov);
  EXPECT_NE(opened(dir + "long.mov").find("frames a second; put it into"), std::string::npos)
      << opened(dir + "long.mov");
}

TEST(HostileMovie, TimestampsThatAreMissingOrTheSameAreTold) {
  const std::string dir = samples::folder();
  clips::ffmpeg(clips::card(6, "", "48x32") + " -pix_fmt yuv420p -c:v libx264 -bf 0 " + dir + "a.mp4");
  clips::ffmpeg(fmt::format("-i {0}a.mp4 -c copy {0}a.ts", dir));
  Bytes ts = samples::bytes_of(dir + "a.ts"), mp4 = samples::bytes_of(dir + "a.mp4");
  // ISO/IEC 13818-1, 2.4.3.6: a packet of pictures begins so; two bits of its byte 7 say which times it has.
  const Bytes begin = {0, 0, 1, 0xe0};
  int frames = 0;
  for (auto it = ts.begin(); (it = std::search(it, ts.end(), begin.begin(), begin.end())) != ts.end(); ++it, ++frames)
    it[7] &= 0x3f;
  ASSERT_EQ(frames, 6);
  samples::write_bytes(dir + "none.ts", ts);
  EXPECT_EQ(opened(dir + "none.ts"), dir +
                                         "none.ts: frame 1 in the file has no timestamp; put the movie into a new "
                                         "container with timestamps, or unpack it to numbered pictures");
  put_big(mp4, find(mp4, "stts") + 16, 0);
  samples::write_bytes(dir + "same.mp4", mp4);
  EXPECT_EQ(opened(dir + "same.mp4"), dir +
                                          "same.mp4: frames 1 and 2 have the same timestamp; put the movie into a new "
                                          "container, or unpack it to numbered pictures");
  mp4 = samples::bytes_of(dir + "a.mp4");
  put_big(mp4, find(mp4, "stsz") + 12, 0);
  samples::write_bytes(dir + "empty.mp4", mp4);
  EXPECT_EQ(opened(dir + "empty.mp4"), dir + "empty.mp4: the movie has no frame; copy or export it again");
  // Ticks of 0, of a second, and of next to nothing.
  for (const uint32_t scale : {0u, 1u, 0xffffffffu}) {
    mp4 = samples::bytes_of(dir + "a.mp4");
    put_big(mp4, find(mp4, "mdhd") + 16, scale);
    samples::write_bytes(dir + "ticks.mp4", mp4);
    EXPECT_NE(opened(dir + "ticks.mp4"), "no problem") << scale;
  }
}

// Containers that are streams do not say how long they are: what is there is read.
TEST(HostileMovie, StreamsThatAreCutOff) {
  const std::string dir = samples::folder();
  clips::ffmpeg(clips::card(12, "", "48x32") + " -pix_fmt yuv420p -c:v libx264 -bf 0 -g 3 " + dir + "a.mp4");
  for (const char* name : {"a.ts", "a.flv"}) {
    SCOPED_TRACE(name);
    clips::ffmpeg(fmt::format("-i {0}a.mp4 -c copy {0}{1}", dir, name));
    const auto whole = Movie::open(dir + name);
    ASSERT_TRUE(whole) << clips::told(whole.error());
    const Bytes bytes = samples::bytes_of(dir + name);
    const std::string cut = dir + "cut" + name;
    samples::write_bytes(cut, {bytes.begin(), bytes.begin() + static_cast<long>(bytes.size() * 6 / 10 + 3)});
    const auto movie = Movie::open(cut);
    ASSERT_TRUE(movie) << clips::told(movie.error());
    const int frames = (*movie)->info().frames;
    EXPECT_TRUE(4 < frames && frames < 12) << frames;
    for (int n = 0; n + 1 < frames; ++n) {
      const auto p = (*movie)->read(n), was = (*whole)->read(n);
      ASSERT_TRUE(p && was) << n;
      EXPECT_TRUE(same_bits(*p, *was)) << n;
    }
    const auto last = (*movie)->read(frames - 1);
    EXPECT_TRUE(last || last.error()[0].file == cut);
    samples::write_bytes(cut, {bytes.begin(), bytes.begin() + 700});
    EXPECT_TRUE(opened(cut).starts_with(cut + ": ")) << opened(cut);
  }
}

}  // namespace pw::hostile_movie_test
