#include "comp/media/movie.h"

#include <gtest/gtest.h>

#include <cstdlib>
#include <thread>

#include "clips.h"
#include "comp/colour/primaries.h"

namespace pw::movie_test {

using clips::card;
using clips::ffmpeg;
using clips::told;

// What people have: coder, container, and how the clip is made. All with 709 tags, 22 frames of 96x64.
struct Clip {
  const char* name;
  const char* coder;
  int bits;
};
constexpr Clip kClips[] = {
    {"h264.mp4", "-pix_fmt yuv420p -c:v libx264 -bf 3 -g 9 -x264-params open-gop=0", 8},
    {"open.mp4", "-pix_fmt yuv420p -c:v libx264 -bf 3 -g 6 -x264-params open-gop=1:bframes=3:b-adapt=0", 8},
    {"h264.mkv", "-pix_fmt yuv420p -c:v libx264 -bf 2 -g 100", 8},
    {"h264.mov", "-pix_fmt yuv422p10le -c:v libx264 -profile:v high422 -bf 2 -g 7", 10},
    {"h264.avi", "-pix_fmt yuv420p -c:v libx264 -bf 2 -g 8", 8},
    {"hevc.mp4", "-pix_fmt yuv420p10le -c:v libx265 -x265-params log-level=none:keyint=9:bframes=3:pools=1 -tag:v hvc1",
     10},
    {"hevc.mkv", "-pix_fmt yuv420p12le -c:v libx265 -x265-params log-level=none:keyint=8:open-gop=1:pools=1", 12},
    {"prores.mov", "-pix_fmt yuv422p10le -c:v prores_ks -profile:v 3", 10},
    {"prores4444.mov", "-pix_fmt yuv444p10le -c:v prores_ks -profile:v 4", 12},  // As its decoder gives it.
    {"ffv1.mkv", "-pix_fmt yuv422p10le -c:v ffv1 -level 3", 10},
    {"ffv1.avi", "-pix_fmt yuv420p -c:v ffv1", 8},
    {"mjpeg.avi", "-pix_fmt yuvj422p -c:v mjpeg -q:v 2", 8},
    {"mjpeg.mov", "-pix_fmt yuvj420p -c:v mjpeg -q:v 2", 8},
};

std::string make(const std::string& folder, const Clip& c) {
  const std::string file = folder + c.name;
  ffmpeg(card(22) + fmt::format(" -colorspace bt709 -color_primaries bt709 -color_trc bt709 {} {}", c.coder, file));
  return file;
}

TEST(Movie, EveryFrameIsWhatFfmpegDecodesAndAtRandomTheSame) {
  const std::string dir = samples::folder();
  for (const Clip& c : kClips) {
    SCOPED_TRACE(c.name);
    const std::string file = make(dir, c);
    const bool jpeg = std::string(c.coder).find("mjpeg") != std::string::npos;
    const auto movie = Movie::open(file, {.encoding = Encoding::rec709_camera, .matrix = Matrix::rec709});
    ASSERT_TRUE(movie) << told(movie.error());
    const MovieInfo& info = (*movie)->info();
    EXPECT_EQ(info.frames, 22);
    EXPECT_EQ(info.width, 96);
    EXPECT_EQ(info.bits, c.bits);
    EXPECT_EQ(info.timing.rate, (Ratio{25, 1}));
    EXPECT_TRUE(info.timing.constant);
    EXPECT_EQ(info.range.value, jpeg ? Range::full : Range::narrow);
    const clips::Floats ref =
        clips::reference(file, 96, 64, "709", jpeg ? "full" : "limited", jpeg ? "center" : "left");
    ASSERT_EQ(ref.frames, 22);
    std::vector<Picture> in_order;
    for (int n = 0; n < 22; ++n) {
      const auto p = (*movie)->read(n);
      ASSERT_TRUE(p) << n << " " << told(p.error());
      EXPECT_LT(clips::worst(*p, ref, n, Encoding::rec709_camera), 1) << "frame " << n;
      in_order.push_back(*p);
    }
    // Fresh ones, so that nothing is kept: the last first, far jumps, backwards.
    for (const std::vector<int>& order :
         {std::vector{21, 0, 13, 5, 20, 2}, std::vector{9, 8, 7, 6, 10}, std::vector{19, 21}}) {
      const auto again = Movie::open(file, {.encoding = Encoding::rec709_camera, .matrix = Matrix::rec709});
      ASSERT_TRUE(again);
      for (int n : order) {
        const auto p = (*again)->read(n);
        ASSERT_TRUE(p) << n << " " << told(p.error());
        EXPECT_TRUE(same_bits(*p, in_order[n])) << "frame " << n;
      }
    }
  }
}

// ITU-R BT.2100, read by its tags. zimg makes light of PQ on its own, with 1 at as many cd/m2 as it is told; of HLG it
// gives the signal, which this side encodes again.
TEST(Movie, HighDynamicRange) {
  const std::string dir = samples::folder();
  struct Row {
    const char* transfer;
    Encoding encoding;
    const char* more;
  };
  for (const Row& r :
       {Row{"smpte2084", Encoding::pq, ":transferin=smpte2084:transfer=linear:npl=203:primariesin=2020:primaries=709"},
        Row{"arib-std-b67", Encoding::hlg, ""}}) {
    SCOPED_TRACE(r.transfer);
    const std::string file = dir + r.transfer + ".mkv";
    ffmpeg(card(3) + fmt::format(" -pix_fmt yuv444p10le -colorspace bt2020nc -color_primaries bt2020 -color_trc {} "
                                 "-c:v ffv1 -level 3 {}",
                                 r.transfer, file));
    const auto movie = Movie::open(file);
    ASSERT_TRUE(movie) << told(movie.error());
    EXPECT_EQ((*movie)->info().encoding.value, r.encoding);
    EXPECT_EQ((*movie)->info().matrix.value, Matrix::rec2020);
    EXPECT_TRUE((*movie)->info().rec2020);
    EXPECT_TRUE((*movie)->info().warnings.empty()) << told((*movie)->info().warnings);
    const clips::Floats ref = clips::reference(file, 96, 64, "2020_ncl", "limited", "left", r.more);
    ASSERT_EQ(ref.frames, 3);
    double brightest = 0;
    for (int n = 0; n < 3; ++n) {
      const auto p = (*movie)->read(n);
      ASSERT_TRUE(p) << told(p.error());
      const auto in_rec2020 = [&](const Eigen::Vector3d& v) -> Eigen::Vector3d {
        return to_from_primaries(kRec2020, kRec709) * v;
      };
      if (r.encoding == Encoding::hlg) {
        Canvas back = Canvas::copy(*p, p->window());
        for (int y = 0; y < 64; ++y)
          for (int x = 0; x < 96; ++x) {
            const Eigen::Vector3d v = in_rec2020(Eigen::Map<const Eigen::Vector3f>(p->at(x, y)).cast<double>());
            for (int c = 0; c < 3; ++c) back.at(x, y)[c] = static_cast<float>(v[c]);
          }
        EXPECT_LT(clips::worst(std::move(back).finish(), ref, n, r.encoding), 0.1);
        continue;
      }
      for (int y = 0; y < 64; ++y)
        for (int x = 0; x < 96; ++x) {
          // Compared as BT.2020 has it, where zimg's error is still a share of each component.
          const Eigen::Vector3d want = in_rec2020({ref.at(n, 0, x, y), ref.at(n, 1, x, y), ref.at(n, 2, x, y)});
          const Eigen::Vector3d have = in_rec2020(Eigen::Map<const Eigen::Vector3f>(p->at(x, y)).cast<double>());
          if (want.maxCoeff() > 49) continue;  // Above a signal of 1 ours is held.
          brightest = std::max(brightest, want.maxCoeff());
          for (int c = 0; c < 3; ++c)
            if (want[c] > 0.001) ASSERT_NEAR(have[c] / want[c], 1, 0.002) << x << " " << y << " " << c;
        }
    }
    if (r.encoding == Encoding::pq) {
      EXPECT_GT(brightest, 20);
    }
  }
}

// Clips that cameras and other people's programs made, where they are at hand (PW_FOOTAGE, or ../shared/footage).
TEST(Movie, RealClips) {
  const char* named = std::getenv("PW_FOOTAGE");
  const std::string folder = named ? named : PW_SOURCE_DIR "/../shared/footage";
  if (!std::filesystem::exists(folder + "/yard.mp4")) GTEST_SKIP() << "left out: no footage at " << folder;
  struct Row {
    const char *name, *matrix;
    Matrix taken;
    int width, height, frames;
    Ratio rate;
    size_t warnings;
  };
  for (const Row& r : {Row{"yard.mp4", "709", Matrix::rec709, 960, 540, 96, {30000, 1001}, 0},
                       Row{"road.mp4", "170m", Matrix::rec601, 960, 540, 221, {25, 1}, 0},
                       Row{"key.mp4", "170m", Matrix::rec601, 320, 192, 1465, {60000, 1001}, 1}}) {
    SCOPED_TRACE(r.name);
    const std::string file = samples::folder() + r.name;
    std::filesystem::copy_file(folder + "/" + r.name, file);
    const auto movie = Movie::open(file), other = Movie::open(file);
    ASSERT_TRUE(movie && other) << told(movie.error());
    const MovieInfo& info = (*movie)->info();
    EXPECT_EQ(info.matrix.value, r.taken);
    EXPECT_EQ(info.range.value, Range::narrow);
    EXPECT_EQ(info.frames, r.frames);
    EXPECT_EQ(info.timing.rate, r.rate);
    EXPECT_EQ(info.warnings.size(), r.warnings);
    // The first frames and the last ones.
    const std::string head = file + ".head.mkv", tail = file + ".tail.mkv";
    const auto piece = [&](const std::string& to, int from) {
      ffmpeg(fmt::format("-i {} -vf \"select='between(n,{},{})'\" -vsync passthrough -c:v ffv1 {}", file, from,
                         from + 4, to));
      return clips::reference(to, r.width, r.height, r.matrix);
    };
    const clips::Floats first = piece(head, 0), last = piece(tail, r.frames - 5);
    ASSERT_EQ(first.frames, 5);
    ASSERT_EQ(last.frames, 5);
    for (int i = 4; i >= 0; --i) {
      const auto a = (*movie)->read(r.frames - 5 + i), b = (*movie)->read(i);
      ASSERT_TRUE(a && b);
      EXPECT_LT(clips::worst(*a, last, i, info.encoding.value), 1);
      EXPECT_LT(clips::worst(*b, first, i, info.encoding.value), 1);
    }
    for (int n = 0; n < std::min(r.frames, 200); n += 1) {
      const auto in_order = (*other)->read(n);
      ASSERT_TRUE(in_order);
      if (n % 37 == 5) {
        EXPECT_TRUE(same_bits(*in_order, *(*movie)->read(n))) << n;
      }
    }
  }
}

TEST(Movie, ManyThreadsGetTheSameFrames) {
  const std::string file = make(samples::folder(), kClips[0]);
  const auto movie = Movie::open(file), alone = Movie::open(file);
  ASSERT_TRUE(movie && alone);
  std::vector<Picture> got(22);
  std::vector<std::thread> threads;
  for (int t = 0; t < 4; ++t)
    threads.emplace_back([&, t] {
      for (int n = t; n < 22; n += 4) got[(n * 5) % 22] = *(*movie)->read((n * 5) % 22);
    });
  for (std::thread& t : threads) t.join();
  for (int n = 0; n < 22; ++n) EXPECT_TRUE(same_bits(got[n], *(*alone)->read(n))) << n;
}

// Patches of known R'G'B' through the formulas of BT.601-7 and BT.709-6 in integers of the standard's own tables;
// stored without loss.
struct Patch {
  const char* what;
  Matrix matrix;
  const char* tag;
  int codes[3];
  double rgb[3];
};
constexpr Patch kPatches[] = {
    {"red of 709", Matrix::rec709, "bt709", {63, 102, 240}, {1, 0, 0}},
    {"green of 709", Matrix::rec709, "bt709", {173, 42, 26}, {0, 1, 0}},
    {"blue of 709", Matrix::rec709, "bt709", {32, 240, 118}, {0, 0, 1}},
    {"red of 601", Matrix::rec601, "smpte170m", {81, 90, 240}, {1, 0, 0}},
    {"green of 601", Matrix::rec601, "smpte170m", {145, 54, 34}, {0, 1, 0}},
    {"blue of 601", Matrix::rec601, "bt470bg", {41, 240, 110}, {0, 0, 1}},
    {"white", Matrix::rec709, "bt709", {235, 128, 128}, {1, 1, 1}},
    {"black", Matrix::rec709, "bt709", {16, 128, 128}, {0, 0, 0}},
};

TEST(Movie, KnownPatches) {
  const std::string dir = samples::folder();
  for (const Patch& p : kPatches) {
    for (const char* coder : {"-c:v libx264 -qp 0", "-c:v ffv1"}) {
      SCOPED_TRACE(p.what);
      std::vector<unsigned char> raw;
      for (int c : p.codes) raw.insert(raw.end(), 32 * 16, static_cast<unsigned char>(c));
      samples::write_bytes(dir + "p.raw", raw);
      const std::string file = dir + "p.mkv";
      ffmpeg(fmt::format(
          "-f rawvideo -pix_fmt yuv444p -s 32x16 -i {}p.raw -colorspace {} -color_trc bt709 -color_range tv {} {}", dir,
          p.tag, coder, file));
      const auto movie = Movie::open(file);
      ASSERT_TRUE(movie) << told(movie.error());
      EXPECT_EQ((*movie)->info().matrix.value, p.matrix);
      EXPECT_EQ((*movie)->info().matrix.from, "as the file says");
      const auto picture = (*movie)->read(0);
      ASSERT_TRUE(picture);
      for (int c = 0; c < 3; ++c)
        EXPECT_NEAR(encode(Encoding::rec709_camera, picture->at(7, 5)[c]), p.rgb[c], 1.2 / 219) << c;
    }
  }
}

TEST(Movie, UntaggedMovesAtSevenHundredAndTwentyLinesAndCanBeOverridden) {
  const std::string dir = samples::folder();
  ffmpeg(card(1, "", "64x48") + " -pix_fmt yuv420p -c:v ffv1 " + dir + "small.mkv");
  ffmpeg(card(1, "", "64x720") + " -pix_fmt yuv420p -c:v ffv1 " + dir + "large.mkv");
  const auto small = Movie::open(dir + "small.mkv"), large = Movie::open(dir + "large.mkv");
  ASSERT_TRUE(small && large);
  EXPECT_EQ((*small)->info().matrix.value, Matrix::rec601);
  EXPECT_EQ((*large)->info().matrix.value, Matrix::rec709);
  ASSERT_EQ((*small)->info().warnings.size(), 1u);
  EXPECT_EQ(
      to_string((*small)->info().warnings[0]),
      dir +
          "small.mkv: warning: the movie does not say by which matrix its colour was made; rec601 is taken, as usual "
          "below 720 lines; say matrix = \"rec709\" or \"rec601\" if colours look wrong, or to have it quiet");
  const auto asked =
      Movie::open(dir + "small.mkv", {.matrix = Matrix::rec709, .range = Range::full, .siting = kTopLeft});
  ASSERT_TRUE(asked);
  EXPECT_TRUE((*asked)->info().warnings.empty());
  EXPECT_EQ((*asked)->info().matrix.from, "as asked");
  const clips::Floats ref = clips::reference(dir + "small.mkv", 64, 48, "709", "full", "topleft");
  EXPECT_LT(clips::worst(*(*asked)->read(0), ref, 0, Encoding::rec709_camera), 1);
}

TEST(Movie, AlphaGreyAndRgb) {
  const std::string dir = samples::folder();
  ffmpeg(card(2, ",format=yuva444p10le,geq=lum='lum(X,Y)':cb='cb(X,Y)':cr='cr(X,Y)':a='X*10'") +
         " -c:v prores_ks -profile:v 4 -pix_fmt yuva444p10le -alpha_bits 16 " + dir + "a.mov");
  const auto alpha = Movie::open(dir + "a.mov");
  ASSERT_TRUE(alpha) << told(alpha.error());
  EXPECT_EQ((*alpha)->info().sampling, "4:4:4 + alpha");
  EXPECT_EQ((*alpha)->info().channels, 4);
  const auto a = (*alpha)->read(1);
  ASSERT_TRUE(a);
  EXPECT_NEAR(a->at(50, 9)[3], 500 / 1023.0, 1 / 1023.0);
  EXPECT_EQ(a->at(0, 9)[0], 0);

  ffmpeg(card(1) + " -pix_fmt gray10le -c:v ffv1 " + dir + "g.mkv");
  const auto grey = Movie::open(dir + "g.mkv");
  ASSERT_TRUE(grey) << told(grey.error());
  EXPECT_EQ((*grey)->info().sampling, "grey");
  EXPECT_EQ((*grey)->read(0)->channels(), 1);
  EXPECT_TRUE((*grey)->info().warnings.empty());

  for (const char* kind : {"bgr0", "gbrp10le", "gbrp16le"}) {
    SCOPED_TRACE(kind);
    const std::string file = dir + kind + ".mkv";
    ffmpeg(card(1) + fmt::format(" -pix_fmt {} -c:v ffv1 {}", kind, file));
    const auto rgb = Movie::open(file);
    ASSERT_TRUE(rgb) << told(rgb.error());
    EXPECT_EQ((*rgb)->info().sampling, "RGB");
    const bool eight = std::string(kind) == "bgr0";
    ffmpeg(fmt::format("-i {0} -pix_fmt {1} -sws_flags accurate_rnd -f rawvideo {0}.raw", file,
                       eight ? "rgb24" : "rgb48le"));
    const auto raw = samples::bytes_of(file + ".raw");
    const auto p = (*rgb)->read(0);
    double worst = 0;
    for (int y = 0; y < 64; ++y)
      for (int x = 0; x < 96; ++x)
        for (int c = 0; c < 3; ++c) {
          const size_t at = (size_t(y) * 96 + x) * 3 + c;
          const double there = eight ? raw[at] / 255.0 : (raw[2 * at] | raw[2 * at + 1] << 8) / 65535.0;
          worst = std::max(worst, std::abs(encode(Encoding::rec709_camera, p->at(x, y)[c]) - there));
        }
    EXPECT_LT(worst, 0.5 / 255);
  }
}

TEST(Movie, IsSetUprightAsItsTagSays) {
  const std::string dir = samples::folder();
  // 4:4:4, so that turning before or after the conversion is the same.
  ffmpeg(card(3) + " -pix_fmt yuv444p -c:v libx264 -qp 0 -colorspace bt709 -color_trc bt709 " + dir + "flat.mp4");
  for (const int degrees : {90, 180, 270}) {
    SCOPED_TRACE(degrees);
    const std::string file = fmt::format("{}{}.mp4", dir, degrees);
    ffmpeg(fmt::format("-i {}flat.mp4 -c copy -metadata:s:v rotate={} {}", dir, degrees, file));
    const auto movie = Movie::open(file);
    ASSERT_TRUE(movie) << told(movie.error());
    const int width = degrees == 180 ? 96 : 64, height = degrees == 180 ? 64 : 96;
    EXPECT_EQ((*movie)->info().width, width);
    EXPECT_EQ((*movie)->info().height, height);
    const clips::Floats ref = clips::reference(file, width, height);  // The command turns it of its own accord.
    const auto p = (*movie)->read(2);
    ASSERT_TRUE(p);
    EXPECT_LT(clips::worst(*p, ref, 2, Encoding::rec709_camera), 0.1);
  }
}

TEST(Movie, TellsTimecodeSoundAndRate) {
  const std::string dir = samples::folder(), file = dir + "t.mov";
  ffmpeg(
      "-f lavfi -i testsrc2=size=96x64:rate=30000/1001 -f lavfi -i sine=frequency=440:sample_rate=48000 -t 1 -timecode "
      "\"01:00:00;02\" -c:v prores_ks -pix_fmt yuv422p10le -c:a pcm_s16le " +
      file);
  const auto movie = Movie::open(file);
  ASSERT_TRUE(movie) << told(movie.error());
  EXPECT_EQ((*movie)->info().timecode, "01:00:00;02");
  EXPECT_EQ((*movie)->info().sound, (std::vector<std::string>{"pcm_s16le, 48000 Hz, 1 channel"}));
  EXPECT_EQ((*movie)->info().timing.rate, (Ratio{30000, 1001}));
}

TEST(Movie, VariableRateIsFoundByTime) {
  const std::string dir = samples::folder(), file = dir + "v.mp4";
  // Frame n at n^2 / 25 seconds.
  ffmpeg(card(8, ",setpts='N*N/25/TB'") + " -vsync vfr -pix_fmt yuv420p -c:v libx264 -colorspace bt709 " + file);
  const auto movie = Movie::open(file);
  ASSERT_TRUE(movie) << told(movie.error());
  EXPECT_FALSE((*movie)->info().timing.constant);
  EXPECT_EQ((*movie)->info().frames, 8);
  for (int n = 0; n < 8; ++n) {
    EXPECT_EQ((*movie)->frame_at(n * n / 25.0), n);
    if (n > 1) {
      EXPECT_EQ((*movie)->frame_at(n * n / 25.0 - 0.01), n - 1);
    }
  }
}

TEST(Movie, RefusesWhatItDoesNotHandleWithTheRemedy) {
  const std::string dir = samples::folder();
  const auto says = [&](const std::string& name) {
    const auto movie = Movie::open(dir + name);
    return movie ? "no problem" : told(movie.error());
  };
  ffmpeg(card(3, ",setfield=tff") + " -pix_fmt yuv422p10le -c:v prores_ks -flags +ildct " + dir + "laced.mov");
  EXPECT_EQ(says("laced.mov"), dir + "laced.mov: the movie is interlaced; make whole frames of its fields first");
  ffmpeg(card(3) + " -pix_fmt yuv420p -c:v libx264 -flags +ildct+ilme -x264-params tff=1 " + dir + "laced.mp4");
  EXPECT_EQ(says("laced.mp4"), dir + "laced.mp4: the movie is interlaced; make whole frames of its fields first");
  ffmpeg(card(3, ",setsar=4/3") + " -pix_fmt yuv420p -c:v libx264 " + dir + "wide.mp4");
  EXPECT_EQ(says("wide.mp4"),
            dir + "wide.mp4: the pixels are not square (aspect 4:3); resample the movie to square pixels first");
  ffmpeg("-f lavfi -i sine -t 1 -c:a aac " + dir + "sound.mp4");
  EXPECT_EQ(says("sound.mp4"), dir + "sound.mp4: the file holds no moving pictures; name a movie that has some");
  samples::write_bytes(dir + "zero.mp4", {});
  EXPECT_EQ(says("zero.mp4"), dir + "zero.mp4: the file is empty; copy or render it again");
  EXPECT_EQ(says("none.mp4"), dir + "none.mp4: there is no such file; check the name");
  for (const Clip& c : {kClips[0], kClips[2], kClips[4], kClips[7], kClips[9]}) {
    const auto bytes = samples::bytes_of(make(dir, c));
    for (const size_t kept : {bytes.size() - 1, bytes.size() / 2, size_t{300}}) {
      samples::write_bytes(dir + c.name, {bytes.begin(), bytes.begin() + static_cast<long>(kept)});
      EXPECT_EQ(says(c.name), dir + c.name + ": the file is cut off; copy or render it again") << kept;
    }
  }
  ffmpeg(card(1) + " -pix_fmt yuv420p -c:v libx264 " + dir + "one.mp4");
  EXPECT_EQ(says("one.mp4"), "no problem");
  ffmpeg(card(3) + " -pix_fmt pal8 -c:v png " + dir + "pal.mov");
  EXPECT_EQ(
      says("pal.mov"),
      dir + "pal.mov: its pixels are stored as pal8, which is not handled; export it as Y'CbCr or RGB of 8 to 16 bits");
}

TEST(Movie, ASizeThatChangesIsTheFaultOfThatFrame) {
  const std::string dir = samples::folder();
  ffmpeg(card(4) + " -pix_fmt yuv420p -c:v libx264 -bf 0 " + dir + "a.h264");
  ffmpeg(card(4, "", "64x96") + " -pix_fmt yuv420p -c:v libx264 -bf 0 " + dir + "b.h264");
  auto all = samples::bytes_of(dir + "a.h264");
  const auto second = samples::bytes_of(dir + "b.h264");
  all.insert(all.end(), second.begin(), second.end());
  samples::write_bytes(dir + "ab.h264", all);
  ffmpeg(fmt::format("-fflags +genpts -r 25 -i {0}ab.h264 -c copy {0}ab.ts", dir));
  const auto movie = Movie::open(dir + "ab.ts");
  ASSERT_TRUE(movie) << told(movie.error());
  ASSERT_EQ((*movie)->info().frames, 8);
  EXPECT_TRUE((*movie)->read(3));
  const auto changed = (*movie)->read(5);
  ASSERT_FALSE(changed);
  EXPECT_EQ(told(changed.error()), dir +
                                       "ab.ts: the movie changes here to 64 x 96, 4:2:0; it began as 96 x 64, 4:2:0; "
                                       "cut it in two where it changes");
  EXPECT_TRUE((*movie)->read(2));
}

TEST(Movie, ADamagedFrameIsToldAndTheOthersAreRead) {
  const std::string dir = samples::folder();
  const std::string file = make(dir, kClips[9]);  // FFV1 with checksums.
  const auto whole = Movie::open(file);
  ASSERT_TRUE(whole);
  auto bytes = samples::bytes_of(file);
  bytes[bytes.size() / 2] ^= 0xff;
  samples::write_bytes(file, bytes);
  const auto movie = Movie::open(file);
  ASSERT_TRUE(movie) << told(movie.error());
  int bad = 0;
  for (int n = 0; n < 22; ++n) {
    const auto p = (*movie)->read(n);
    if (!p) {
      ++bad;
      EXPECT_NE(told(p.error()).find("the frame cannot be decoded"), std::string::npos) << told(p.error());
    }
  }
  EXPECT_EQ(bad, 1);
}

}  // namespace pw::movie_test
