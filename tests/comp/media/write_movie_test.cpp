#include "comp/media/write_movie.h"

#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/stat.h>

#include <algorithm>
#include <csignal>
#include <cstring>
#include <fstream>
#include <thread>

#include "clips.h"

namespace pw::write_movie_test {

using clips::ffmpeg;
using clips::told;

// Frame n: encoded values that rise from left to right, R, G and B at different speeds, moved a little by n.
float ramp_at(int n, int x, int c, int width) {
  const float v = (static_cast<float>(x) + 0.5f) / static_cast<float>(width);
  return c == 0 ? v : c == 1 ? 1 - 0.5f * v : 0.25f + 0.5f * v + 0.01f * static_cast<float>(n);
}

Picture ramp_frame(int n, int width, int height, int channels, bool grey = false) {
  Canvas c(Rect::sized(width, height), channels);
  for (int y = 0; y < height; ++y)
    for (int x = 0; x < width; ++x) {
      float* p = c.at(x, y);
      for (int k = 0; k < std::min(channels, 3); ++k) p[k] = ramp_at(n, x, grey ? 0 : k, width);
      decode(Encoding::rec709_camera, p, p, std::min(channels, 3));
      if (channels < 4) continue;
      p[3] = 0.25f + 0.5f * static_cast<float>(y) / static_cast<float>(height);
      for (int k = 0; k < 3; ++k) p[k] *= p[3];
    }
  return std::move(c).finish();
}

void write(const std::string& file, MovieWriteOptions o, int frames, int channels, bool grey = false) {
  o.frames = frames;
  auto w = MovieWriter::open(file, o);
  ASSERT_TRUE(w) << told(w.error());
  for (int n = 0; n < frames; ++n) {
    const auto added = (*w)->add(n, ramp_frame(n, o.width, o.height, channels, grey));
    ASSERT_TRUE(added) << told(added.error());
  }
  const auto done = (*w)->finish();
  ASSERT_TRUE(done) << told(done.error());
}

// Largest difference of encoded values between what was written and what comes back, as a share of white.
double round_trip(const std::string& file, const MovieWriteOptions& o, int frames, int channels, bool grey = false) {
  write(file, o, frames, channels, grey);
  const auto movie = Movie::open(file);
  EXPECT_TRUE(movie) << told(movie.error());
  if (!movie) return 1;
  EXPECT_EQ((*movie)->info().frames, frames);
  EXPECT_TRUE((*movie)->info().warnings.empty());
  double worst = 0;
  for (int n = 0; n < frames; ++n) {
    const auto p = (*movie)->read(n);
    EXPECT_TRUE(p);
    if (!p) return 1;
    for (int y = 0; y < o.height; ++y)
      for (int x = 0; x < o.width; ++x)
        for (int c = 0; c < 3; ++c) {
          const float* v = p->at(x, y);
          const float straight = p->channels() == 4 ? v[c] / v[3] : v[c];
          worst = std::max(worst,
                           std::abs(encode(Encoding::rec709_camera, straight) - ramp_at(n, x, grey ? 0 : c, o.width)));
        }
  }
  return worst;
}

TEST(WriteMovie, ATenBitRampComesBackFromProResWithinOneCode) {
  const std::string dir = samples::folder();
  // A grey ramp of one code a pixel, of the 876 codes from black to white.
  const double hq = round_trip(dir + "a.mov", {.width = 876, .height = 64}, 2, 3, true) * 876;
  const double full =
      round_trip(dir + "b.mov", {.coder = Coder::prores_4444, .width = 876, .height = 64}, 2, 3, true) * 876;
  const double colour =
      round_trip(dir + "c.mov", {.coder = Coder::prores_4444, .width = 876, .height = 64}, 2, 4) * 876;
  fmt::print("ProRes round trip, codes of 10 bits: 422 HQ grey {:.2f}, 4444 grey {:.2f}, 4444 colour {:.2f}\n", hq,
             full, colour);
  EXPECT_LE(hq, 1);
  EXPECT_LE(full, 1);
  // Of colours between the codes: 10 bits of Y', Cb, Cr carry them to 1 code (yuv_test.cpp); the coder, as fine as it
  // goes, adds 0.15.
  EXPECT_LE(colour, 1.2);
}

// A movie that somebody delivered goes out again with the codes it came with: each of Y', Cb, Cr by itself through the
// codes of 10 bits, and the three together in colours that are none of the standard's.
TEST(WriteMovie, RampsOfCodesComeBackFromProRes4444WithinOneCode) {
  constexpr int kWidth = 896, kHeight = 64;
  const std::string dir = samples::folder(), raw = dir + "ramp.raw";
  const auto code = [](int plane, int x, int y) -> uint16_t {
    const int part = y / 16, rising = 64 + x;
    if (part == 3) return static_cast<uint16_t>(plane == 0 ? 200 + x / 2 : plane == 1 ? 400 + x / 4 : 640 - x / 3);
    return static_cast<uint16_t>(part == plane ? (plane == 0 ? std::min(rising, 940) : rising)
                                 : plane == 0  ? 502
                                               : 512);
  };
  std::vector<uint16_t> codes;
  for (int plane = 0; plane < 3; ++plane)
    for (int y = 0; y < kHeight; ++y)
      for (int x = 0; x < kWidth; ++x) codes.push_back(code(plane, x, y));
  std::ofstream(raw, std::ios::binary)
      .write(reinterpret_cast<const char*>(codes.data()),
             static_cast<std::streamsize>(codes.size() * sizeof(uint16_t)));
  ASSERT_TRUE(
      ffmpeg(fmt::format("-f rawvideo -pix_fmt yuv444p10le -s {}x{} -r 24 -i {} -c:v ffv1 -color_range tv "
                         "-colorspace bt709 -color_primaries bt709 -color_trc bt709 {}in.mkv",
                         kWidth, kHeight, raw, dir)));
  const auto in = Movie::open(dir + "in.mkv");
  ASSERT_TRUE(in) << told(in.error());
  const auto frame = (*in)->read(0);
  ASSERT_TRUE(frame);
  auto out = MovieWriter::open(dir + "out.mov",
                               {.coder = Coder::prores_4444, .width = kWidth, .height = kHeight, .frames = 1});
  ASSERT_TRUE(out) << told(out.error());
  ASSERT_TRUE((*out)->add(0, *frame));
  ASSERT_TRUE((*out)->finish());

  ASSERT_TRUE(ffmpeg(fmt::format("-i {0}out.mov -f rawvideo -pix_fmt yuv444p12le {0}out.raw", dir)));
  const std::vector<unsigned char> bytes = samples::bytes_of(dir + "out.raw");
  ASSERT_EQ(bytes.size(), codes.size() * sizeof(uint16_t));
  double worst[4] = {};
  for (size_t i = 0; i < codes.size(); ++i) {
    uint16_t back;
    std::memcpy(&back, &bytes[i * sizeof back], sizeof back);
    double& w = worst[i / kWidth % kHeight / 16];
    w = std::max(w, std::abs(back / 4.0 - codes[i]));
  }
  fmt::print("ProRes 4444, codes of 10 bits: Y' {:.2f}, Cb {:.2f}, Cr {:.2f}, together {:.2f}\n", worst[0], worst[1],
             worst[2], worst[3]);
  for (double w : worst) EXPECT_LE(w, 1);
}

TEST(WriteMovie, FfvOneLosesNothing) {
  const std::string dir = samples::folder();
  EXPECT_LE(round_trip(dir + "a.mkv", {.width = 96, .height = 64}, 3, 3) * 1023, 0.51);
  EXPECT_LE(round_trip(dir + "b.mkv", {.depth = Depth::bits8, .width = 95, .height = 63}, 3, 3) * 255, 0.51);
  EXPECT_LE(round_trip(dir + "c.mkv", {.depth = Depth::bits16, .width = 96, .height = 64}, 3, 3) * 65535, 2);
}

TEST(WriteMovie, HTwoSixFourIsClose) {
  EXPECT_LE(round_trip(samples::folder() + "a.mp4", {.rate_factor = 10, .width = 96, .height = 64}, 12, 3) * 255, 8);
}

TEST(WriteMovie, AlphaIsKeptStraight) {
  const std::string file = samples::folder() + "a.mov";
  const MovieWriteOptions o{.coder = Coder::prores_4444, .width = 96, .height = 64};
  write(file, o, 2, 4);
  const auto movie = Movie::open(file);
  ASSERT_TRUE(movie) << told(movie.error());
  const auto p = (*movie)->read(1);
  ASSERT_TRUE(p);
  ASSERT_EQ(p->channels(), 4);
  for (int y = 0; y < 64; ++y) EXPECT_NEAR(p->at(40, y)[3], 0.25 + 0.5 * y / 64.0, 1 / 1023.0);
}

// What other programs are told of the file.
std::string probed(const std::string& file, const std::string& entries) {
  const std::string command = "ffprobe -v error -show_entries " + entries + " -of csv=p=0 " + file;
  std::string out;
  if (FILE* p = popen(command.c_str(), "r")) {
    char text[512];
    while (fgets(text, sizeof text, p)) out += text;
    pclose(p);
  }
  return out;
}

TEST(WriteMovie, OthersReadTagsRateTimecodeAndFrames) {
  const std::string dir = samples::folder();
  MovieWriteOptions o{
      .width = 96, .height = 64, .rate = {30000, 1001}, .timecode = "01:00:00;02", .comment = "of a test"};
  for (const char* name : {"a.mov", "a.mkv", "a.mp4"}) {
    SCOPED_TRACE(name);
    const std::string file = dir + name;
    write(file, o, 5, 3);
    EXPECT_EQ(probed(file, "stream=r_frame_rate -select_streams v:0"), "30000/1001\n");
    EXPECT_EQ(probed(file, "stream=nb_read_frames -count_frames -select_streams v:0"), "5\n");
    EXPECT_EQ(probed(file, "stream=color_space,color_transfer,color_primaries -select_streams v:0"),
              std::string(name) == "a.mkv" ? "gbr,bt709,bt709\n" : "bt709,bt709,bt709\n");
    const auto movie = Movie::open(file);
    ASSERT_TRUE(movie) << told(movie.error());
    EXPECT_EQ((*movie)->info().timecode, "01:00:00;02");
    EXPECT_EQ((*movie)->info().matrix.from, std::string(name) == "a.mkv" ? "it is stored as RGB" : "as the file says");
  }
  EXPECT_EQ(probed(dir + "a.mov", "stream=codec_tag_string,pix_fmt -select_streams v:0"), "apch,yuv422p10le\n");
  EXPECT_EQ(probed(dir + "a.mp4", "stream=codec_name,profile,pix_fmt -select_streams v:0"), "h264,High,yuv420p\n");
  // The index stands before the pictures.
  const auto bytes = samples::bytes_of(dir + "a.mp4");
  const std::string text(bytes.begin(), bytes.end());
  EXPECT_LT(text.find("moov"), text.find("mdat"));
}

TEST(WriteMovie, ItsEncodingIsReadBackFromItsTag) {
  const std::string dir = samples::folder();
  for (Encoding e : all_encodings())
    for (const char* name : {"a.mov", "a.mkv", "a.mp4"}) {
      SCOPED_TRACE(std::string(pw::name(e)) + " " + name);
      MovieWriteOptions o{.width = 96, .height = 64};
      o.encoding = e;
      write(dir + name, o, 1, 3);
      const auto movie = Movie::open(dir + name);
      ASSERT_TRUE(movie) << told(movie.error());
      EXPECT_EQ((*movie)->info().encoding.value, e == Encoding::bt1886 ? Encoding::rec709_camera : e);
      EXPECT_EQ((*movie)->info().encoding.from, "as the file says");
    }
}

TEST(WriteMovie, SameBytesTwiceInAnyOrderFromManyThreads) {
  const std::string dir = samples::folder();
  for (const char* name : {"a.mov", "a.mkv", "a.mp4"}) {
    SCOPED_TRACE(name);
    const MovieWriteOptions o{.width = 96, .height = 64, .frames = 24, .timecode = "00:00:01:00"};
    write(dir + name, o, 24, 3);
    const std::string again = dir + "again." + std::string(name).substr(2);
    auto w = MovieWriter::open(again, o);
    ASSERT_TRUE(w);
    std::vector<std::thread> threads;
    for (int t = 0; t < 3; ++t)
      threads.emplace_back([&, t] {
        for (int n = 23 - t; n >= 0; n -= 3) EXPECT_TRUE((*w)->add(n, ramp_frame(n, 96, 64, 3)));
      });
    for (std::thread& t : threads) t.join();
    ASSERT_TRUE((*w)->finish());
    EXPECT_EQ(samples::bytes_of(dir + name), samples::bytes_of(again));
  }
}

TEST(WriteMovie, SoundIsCopiedAsItIs) {
  const std::string dir = samples::folder();
  ffmpeg(
      "-f lavfi -i testsrc2=size=96x64:rate=25 -f lavfi -i \"sine=frequency=300:sample_rate=48000\" -t 2 -pix_fmt "
      "yuv420p "
      "-c:v libx264 -bf 2 -c:a aac " +
      dir + "plate.mp4");
  ffmpeg(
      "-f lavfi -i testsrc2=size=96x64:rate=25 -f lavfi -i \"sine=frequency=300:sample_rate=48000\" -t 2 -pix_fmt "
      "yuv422p10le -c:v prores_ks -c:a pcm_s24le " +
      dir + "plate.mov");
  const auto packets = [&](const std::string& file) {
    ffmpeg(fmt::format("-i {0} -map 0:a -c copy -f framehash {0}.hash", file));
    const auto bytes = samples::bytes_of(file + ".hash");
    std::vector<std::string> hashes;  // Of the packets' content, in order.
    std::string line;
    for (unsigned char c : bytes) {
      if (c != '\n') {
        line += static_cast<char>(c);
        continue;
      }
      if (!line.empty() && line[0] != '#') hashes.push_back(line.substr(line.rfind(',')));
      line.clear();
    }
    return hashes;
  };
  for (const auto& [from, to] :
       {std::pair{"plate.mp4", "out.mov"}, {"plate.mp4", "out.mp4"}, {"plate.mov", "out2.mov"}}) {
    SCOPED_TRACE(to);
    write(dir + to, {.width = 96, .height = 64, .rate = {25, 1}, .sound_from = dir + from}, 50, 3);
    const auto was = packets(dir + from), is = packets(dir + to);
    ASSERT_GT(was.size(), 20u);
    EXPECT_EQ(is, was);
  }
  // From the middle: the first packet heard there comes first.
  write(dir + "part.mov",
        {.width = 96, .height = 64, .rate = {25, 1}, .sound_from = dir + "plate.mov", .sound_start = 1}, 10, 3);
  const auto was = packets(dir + "plate.mov"), part = packets(dir + "part.mov");
  ASSERT_FALSE(part.empty());
  EXPECT_LT(part.size(), was.size());
  EXPECT_NEAR(std::stod(probed(dir + "part.mov", "stream=duration -select_streams a:0")), 0.4, 0.05);

  auto none =
      MovieWriter::open(dir + "x.mp4", {.width = 96, .height = 64, .frames = 1, .sound_from = dir + "plate.mov"});
  ASSERT_FALSE(none);
  EXPECT_EQ(told(none.error()),
            fmt::format("{0}x.mp4: its container takes no sound of the kind {0}plate.mov has (pcm_s24le); "
                        "deliver .mov or .mkv, or leave the sound out",
                        dir));
}

TEST(WriteMovie, UnfinishedLeavesNothing) {
  const std::string dir = samples::folder();
  samples::write_text(dir + "a.mov", "what was there");
  {
    auto w = MovieWriter::open(dir + "a.mov", {.width = 96, .height = 64, .frames = 3});
    ASSERT_TRUE(w);
    ASSERT_TRUE((*w)->add(0, ramp_frame(0, 96, 64, 3)));
    ASSERT_TRUE((*w)->add(2, ramp_frame(2, 96, 64, 3)));
    const auto r = (*w)->finish();
    ASSERT_FALSE(r);
    EXPECT_EQ(told(r.error()), dir + "a.mov: the movie has 1 of its 3 frames, and is not written");
  }
  EXPECT_EQ(std::distance(std::filesystem::directory_iterator(dir), {}), 1);
  EXPECT_EQ(samples::bytes_of(dir + "a.mov").size(), 14u);
}

TEST(WriteMovie, NoRoomAndClosedFoldersAreTold) {
  const std::string dir = samples::folder();
  auto w = MovieWriter::open("/dev/full/a.mov", {.width = 96, .height = 64, .frames = 1});
  ASSERT_FALSE(w);
  EXPECT_EQ(told(w.error()), "/dev/full/a.mov: there is no folder /dev/full; create it or choose another");

  // The system's limit on the length of a file stands for a full disk: the same calls fail.
  struct rlimit before {};
  getrlimit(RLIMIT_FSIZE, &before);
  std::signal(SIGXFSZ, SIG_IGN);
  struct rlimit small = before;
  small.rlim_cur = 200000;
  setrlimit(RLIMIT_FSIZE, &small);
  std::string said;
  {
    auto writer = MovieWriter::open(dir + "a.mov", {.width = 640, .height = 480, .frames = 40});
    for (int n = 0; writer && n < 40 && said.empty(); ++n)
      if (const auto r = (*writer)->add(n, ramp_frame(n, 640, 480, 3)); !r) said = told(r.error());
    if (said.empty() && writer)
      if (const auto r = (*writer)->finish(); !r) said = told(r.error());
  }
  setrlimit(RLIMIT_FSIZE, &before);
  EXPECT_EQ(said, dir + "a.mov: the file is larger than the system lets a file grow; raise the limit (ulimit -f)");
  EXPECT_TRUE(std::filesystem::is_empty(dir));
}

TEST(WriteMovie, WhatDoesNotFitIsToldBefore) {
  const auto says = [](const std::string& file, const MovieWriteOptions& o) {
    const auto r = check_movie(file, o);
    return r ? std::string() : told(r.error());
  };
  EXPECT_EQ(says("a.mov", {.width = 96, .height = 63}), "");
  EXPECT_EQ(says("a.MOV", {.width = 96, .height = 63}), "");
  EXPECT_EQ(says("a.mov", {.width = 95, .height = 64}),
            "a.mov: prores-hq needs an even width, and the shot is 95 x 64; deliver prores-4444 or ffv1, or a size "
            "that is even");
  EXPECT_EQ(says("a.mp4", {.width = 96, .height = 63}),
            "a.mp4: h264 needs an even width and height, and the shot is 96 x 63; deliver prores-4444 or ffv1, or a "
            "size that "
            "is even");
  EXPECT_EQ(says("a.mp4", {.coder = Coder::prores_hq, .width = 96, .height = 64}),
            "a.mp4: prores-hq does not go into .mp4; use .mov");
  EXPECT_EQ(says("a.mov", {.coder = Coder::ffv1, .width = 96, .height = 64}),
            "a.mov: ffv1 does not go into .mov; use .mkv");
  EXPECT_EQ(says("a.mov", {.depth = Depth::half, .width = 96, .height = 64}),
            "a.mov: prores-hq has no depth \"half\"; it is always 10");
  EXPECT_EQ(says("a.avi", {.width = 96, .height = 64}),
            "a.avi: .avi is not a kind of movie that is written; use .mov, .mp4 or .mkv");
}

TEST(WriteMovie, TimecodeGoesOn) {
  EXPECT_EQ(later_timecode("01:00:00:00", {25, 1}, 26), "01:00:01:01");
  // SMPTE ST 12-1: at 30000/1001 the frames 0 and 1 of every minute but the tenth are left out.
  EXPECT_EQ(later_timecode("00:00:59;29", {30000, 1001}, 1), "00:01:00;02");
  EXPECT_EQ(later_timecode("00:09:59;29", {30000, 1001}, 1), "00:10:00;00");
  EXPECT_EQ(later_timecode("", {25, 1}, 3), "");
  EXPECT_EQ(later_timecode("noon", {25, 1}, 3), "");
}

}  // namespace pw::write_movie_test
