// Movies through a whole shot: text, check, survey, render.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "comp/graph/render.h"
#include "comp/media/movie.h"
#include "comp/media/still.h"
#include "shots.h"

namespace pw::movie_shot_test {

using shots::scene_of;

std::string folder() { return test_folder("movie_shot_test"); }

void clip(const std::string& arguments) {
  const std::string command = "ffmpeg -v error -nostdin -y -threads 1 -f lavfi -i " + arguments;
  ASSERT_EQ(std::system(command.c_str()), 0) << command;
}

// 12 frames from timecode 10:00:00:00 on, with sound.
void plate(const std::string& dir) {
  clip(
      "testsrc2=size=64x48:rate=25 -f lavfi -i sine=sample_rate=48000 -t 0.48 -vf "
      "setparams=colorspace=bt709:color_trc=bt709:color_primaries=bt709:range=tv -pix_fmt yuv422p10le -c:v prores_ks "
      "-profile:v 3 -c:a pcm_s16le -timecode 10:00:00:00 " +
      dir + "quay.mov");
}

std::string told(const Problems& p) { return p.empty() ? "" : to_string(p[0]); }

RenderReport run(const Scene& s, std::vector<int> frames = {}, const std::atomic<bool>* stop = nullptr,
                 int threads = 2) {
  if (frames.empty())
    for (int f = s.shot.first; f <= s.shot.last; ++f) frames.push_back(f);
  const std::vector<int> sinks = shots::sinks_of(s);
  const auto runner = arena(threads);
  const auto results = measure(s, sinks, {*runner});
  EXPECT_TRUE(results);
  return render(s, *results, sinks, frames, {.runner = *runner, .frames_at_once = threads, .stop = stop});
}

std::vector<unsigned char> bytes_of(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

TEST(MovieShot, TheShotIsLikeTheMovieAndTheMovieDeliveredIsLikeTheShot) {
  const std::string dir = folder();
  plate(dir);
  const std::string text =
      "plate = { kind = \"footage\", file = \"quay.mov\" }\n"
      "out = { kind = \"deliver\", image = \"plate\", file = \"out.mov\", sound = \"plate\" }\n"
      "still = { kind = \"deliver\", image = \"plate\", file = \"f.##.png\", encoding = \"rec709-camera\" }\n";
  const auto s = scene_of(dir, text);
  ASSERT_TRUE(s) << told(s.error());
  EXPECT_TRUE(s->warnings.empty());
  EXPECT_EQ(s->shot.width, 64);
  EXPECT_EQ(s->shot.last, 12);
  EXPECT_EQ(s->shot.rate, 25);
  EXPECT_EQ(s->shot.timecode, "10:00:00:00");
  const RenderReport r = run(*s);
  EXPECT_EQ(to_string(r.problems), "");
  EXPECT_EQ(r.written, 13);
  const auto in = Movie::open(dir + "quay.mov"), out = Movie::open(dir + "out.mov");
  ASSERT_TRUE(in && out) << (out ? "" : told(out.error()));
  EXPECT_EQ((*out)->info().timecode, "10:00:00:00");
  EXPECT_EQ((*out)->info().sound, (*in)->info().sound);
  EXPECT_EQ((*out)->info().frames, 12);
  double worst = 0;
  for (int n = 0; n < 12; ++n) {
    const auto a = (*in)->read(n);
    const auto png = read_still(dir + fmt::format("f.{:02}.png", n + 1), {.encoding = Encoding::rec709_camera});
    ASSERT_TRUE(a && png);
    for (int y = 0; y < 48; ++y)
      for (int x = 0; x < 64; ++x)
        for (int c = 0; c < 3; ++c) {
          const double v = std::clamp(encode(Encoding::rec709_camera, a->at(x, y)[c]), 0.0, 1.0);
          worst = std::max(worst, std::abs(v - encode(Encoding::rec709_camera, png->picture.at(x, y)[c])));
        }
  }
  EXPECT_LE(worst * 255, 0.51);

  // What comes from the same is left alone.
  const RenderReport again = run(*s);
  EXPECT_EQ(again.written, 0);
  EXPECT_EQ(again.kept, 13);
  const auto first = bytes_of(dir + "out.mov");
  std::filesystem::remove(dir + "out.mov");
  run(*s, {}, nullptr, 1);
  EXPECT_EQ(bytes_of(dir + "out.mov"), first);  // The same bytes with one thread, and again.

  const RenderReport part = run(*s, {5, 6, 7, 8});
  EXPECT_EQ(to_string(part.problems), "");
  const auto cut = Movie::open(dir + "out.mov");
  ASSERT_TRUE(cut);
  EXPECT_EQ((*cut)->info().timecode, "10:00:00:04");
  EXPECT_EQ((*cut)->info().frames, 4);
}

TEST(MovieShot, StartNumbersTheFramesAndMissingOnesAreToldHeldOrBlack) {
  const std::string dir = folder();
  plate(dir);
  const auto text = [](const std::string& more) {
    return "shot = { like = \"plate\", frames = [1001, 1014] }\nplate = { kind = \"footage\", file = \"quay.mov\", "
           "start = "
           "1001" +
           more + " }\nout = { kind = \"deliver\", image = \"plate\", file = \"f.####.png\" }\n";
  };
  const auto s = scene_of(dir, text(""));
  ASSERT_TRUE(s) << told(s.error());
  const RenderReport r = run(*s);
  EXPECT_EQ(r.written, 12);
  ASSERT_EQ(r.problems.size(), 2u);
  EXPECT_EQ(
      to_string(r.problems[0]),
      dir +
          "quay.mov: frame 1013: the movie has no such frame; it has 1001 to 1012; change the shot's frames, or let "
          "the footage hold the last frame: missing = \"hold\"");
  const auto held = scene_of(dir, text(", missing = \"hold\""));
  ASSERT_TRUE(held);
  EXPECT_EQ(run(*held).written, 14);
  const auto last = read_still(dir + "f.1012.png"), after = read_still(dir + "f.1014.png");
  ASSERT_TRUE(last && after);
  EXPECT_TRUE(same_bits(last->picture, after->picture));
}

TEST(MovieShot, AMovieWithALostFrameOrStoppedIsNotWritten) {
  const std::string dir = folder();
  plate(dir);
  const std::string text =
      "shot = { like = \"plate\", frames = [1, 14] }\nplate = { kind = \"footage\", file = \"quay.mov\" }\n"
      "out = { kind = \"deliver\", image = \"plate\", file = \"out.mkv\" }\n";
  const auto s = scene_of(dir, text);
  ASSERT_TRUE(s) << told(s.error());
  const RenderReport r = run(*s);
  EXPECT_EQ(r.written, 0);
  ASSERT_FALSE(r.problems.empty());
  EXPECT_NE(to_string(r.problems.back()).find("out.mkv: the movie is not written, because frame 1"), std::string::npos)
      << to_string(r.problems.back());
  const std::atomic<bool> stop = true;
  const RenderReport stopped = run(*s, {1, 2, 3}, &stop);
  EXPECT_TRUE(stopped.stopped);
  ASSERT_EQ(stopped.problems.size(), 1u);
  EXPECT_EQ(to_string(stopped.problems[0]),
            dir + "out.mkv: note: the movie was not finished, and nothing is left of it; render it again");
  for (const auto& e : std::filesystem::directory_iterator(dir)) EXPECT_EQ(e.path().filename().string(), "quay.mov");
}

TEST(MovieShot, VariableRateIsCutAtTheRateOfTheShot) {
  const std::string dir = folder();
  // Frame n begins at n^2 / 25 seconds; the last, the 6th, at 25 / 25.
  clip(
      "testsrc2=size=64x48:rate=25,setpts='N*N/25/TB' -frames:v 6 -vsync vfr -pix_fmt yuv444p -c:v libx264 -qp 0 "
      "-colorspace bt709 -color_trc bt709 " +
      dir + "v.mp4");
  const auto s = scene_of(dir,
                          "shot = { like = \"plate\", rate = 25 }\nplate = { kind = \"footage\", file = \"v.mp4\" }\n"
                          "out = { kind = \"deliver\", image = \"plate\", file = \"f.##.png\", encoding = "
                          "\"rec709-camera\" }\n");
  ASSERT_TRUE(s) << told(s.error());
  EXPECT_GE(s->shot.last, 26);
  const RenderReport r = run(*s);
  EXPECT_EQ(to_string(r.problems), "");
  const auto movie = Movie::open(dir + "v.mp4");
  ASSERT_TRUE(movie);
  for (int f = 1; f <= 26; ++f) {
    int n = 0;
    while (n < 5 && (n + 1) * (n + 1) <= f - 1) ++n;
    const auto png = read_still(dir + fmt::format("f.{:02}.png", f), {.encoding = Encoding::rec709_camera});
    const auto p = (*movie)->read(n);
    ASSERT_TRUE(png && p);
    double worst = 0;
    for (int y = 0; y < 48; ++y)
      for (int x = 0; x < 64; ++x)
        worst = std::max(worst, std::abs(std::clamp(encode(Encoding::rec709_camera, p->at(x, y)[1]), 0.0, 1.0) -
                                         encode(Encoding::rec709_camera, png->picture.at(x, y)[1])));
    EXPECT_LE(worst * 255, 0.51) << f;
  }
}

TEST(MovieShot, MistakesAreToldWhereTheyStand) {
  const std::string dir = folder();
  plate(dir);
  const auto says = [&](const std::string& out, const std::string& foot = "file = \"quay.mov\"") {
    const auto s = scene_of(dir, "plate = { kind = \"footage\", " + foot +
                                     " }\nout = { kind = \"deliver\", image = \"plate\", " + out + " }\n");
    return s ? s->warnings.empty() ? std::string("fine") : told(s->warnings) : told(s.error());
  };
  EXPECT_EQ(says("file = \"a.mov\""), "fine");
  EXPECT_EQ(
      says("file = \"a.##.mov\""),
      dir +
          "s.toml:2:51: out.file has a place for the frame's number, and a movie holds all frames; write its name "
          "without, as in \"out/quay.mov\"");
  EXPECT_EQ(says("file = \"a.mp4\", coder = \"ffv1\""),
            dir + "s.toml:2:51: out.file cannot be written: ffv1 does not go into .mp4; use .mkv");
  EXPECT_EQ(says("file = \"a.####.png\", coder = \"h264\""),
            dir + "s.toml:2:73: out.coder is said of a file that is no movie; end it with .mov, .mp4 or .mkv");
  EXPECT_EQ(says("file = \"a.mov\"", "file = \"quay.mv\""), dir + "quay.mv: there is no such file; check the name");
  EXPECT_EQ(says("file = \"a.mov\"", "file = \"quay.mov\", matrix = \"rec601\""), "fine");
  std::ofstream(dir + "half.mov", std::ios::binary) << std::string(
      "\0\0\0\x14"
      "ftypqt  ",
      12);
  EXPECT_EQ(says("file = \"a.mov\"", "file = \"half.mov\"").find(dir + "half.mov: the file is cut off"), 0u);
}

}  // namespace pw::movie_shot_test
