// Files in a colour space, made up here: light is the square of the next channel's code, so that order, direction and
// alpha all show.
#include <gtest/gtest.h>

#include <cmath>

#include "clips.h"
#include "comp/colour/space_transform.h"
#include "comp/media/still.h"
#include "comp/media/write_movie.h"

namespace pw::space_test {

class Square final : public SpaceTransform {
 public:
  explicit Square(bool reading) : reading_(reading) {}
  void apply(float* p, size_t count) const override {
    for (; count > 0; --count, p += 4) {
      const float a = p[0], b = p[1], c = p[2];
      if (reading_)
        p[0] = b * b, p[1] = c * c, p[2] = a * a;
      else
        p[0] = std::sqrt(c), p[1] = std::sqrt(a), p[2] = std::sqrt(b);
      p[3] = 77;  // Nobody's alpha.
    }
  }
  const std::string& identity() const override { return identity_; }

 private:
  bool reading_;
  std::string identity_ = "square";
};
const auto kRead = std::make_shared<const Square>(true);
const auto kWrite = std::make_shared<const Square>(false);

double light(double next_code) { return next_code * next_code; }

TEST(Space, CodesOfEveryDepthAndAlphaOfEveryKind) {
  const std::string dir = samples::folder();
  OIIO::ImageSpec spec(40, 30, 4, OIIO::TypeDesc::UINT16);
  spec.attribute("oiio:UnassociatedAlpha", 1);
  for (const char* name : {"a.png", "a.tif"}) {
    const auto v = samples::random_values<uint16_t>(spec.image_pixels() * 4, 1);
    samples::write_file(dir + name, spec, v);
    const auto file = read_still(dir + name, {.space = kRead});
    ASSERT_TRUE(file) << to_string(file.error());
    ASSERT_EQ(file->picture.channels(), 4);
    for (int i = 0; i < 40 * 30; ++i) {
      const float* p = file->picture.row(0) + 4 * i;
      const double a = v[4 * i + 3] / 65535.0;
      for (int c = 0; c < 3; ++c) ASSERT_NEAR(p[c], a * light(v[4 * i + (c + 1) % 3] / 65535.0), 1e-6) << name;
      ASSERT_EQ(p[3], static_cast<float>(a));
    }
    ASSERT_TRUE(write_still(dir + "back.png", file->picture, {.depth = Depth::bits16, .space = kWrite}));
    const auto back = samples::read_file<uint16_t>(dir + "back.png");
    for (size_t i = 0; i < v.size(); ++i)
      ASSERT_EQ(back[i], v[i / 4 * 4 + 3] == 0 ? 0 : v[i]) << name << i;  // Colour under no cover is not kept.
  }
  // EXR: encoded colour is multiplied by alpha.
  samples::write_file(dir + "a.exr", OIIO::ImageSpec(2, 1, 4, OIIO::TypeDesc::FLOAT),
                      std::vector<float>{0.1f, 0.2f, 0.4f, 0.5f, 3, 2, 1.5f, 1});
  const auto exr = read_still(dir + "a.exr", {.space = kRead});
  ASSERT_TRUE(exr);
  const float want[] = {0.5f * 0.16f, 0.5f * 0.64f, 0.5f * 0.04f, 0.5f, 4, 2.25f, 9, 1};
  for (int i = 0; i < 8; ++i) EXPECT_NEAR(exr->picture.row(0)[i], want[i], 1e-6) << i;
  ASSERT_TRUE(write_still(dir + "b.exr", exr->picture, {.depth = Depth::float32, .space = kWrite}));
  const auto back = samples::read_file<float>(dir + "b.exr"), given = samples::read_file<float>(dir + "a.exr");
  for (int i = 0; i < 8; ++i) EXPECT_NEAR(back[i], given[i], 1e-6) << i;
}

TEST(Space, GreyBecomesColour) {
  const std::string dir = samples::folder();
  for (int channels : {1, 2}) {
    OIIO::ImageSpec spec(256, 1, channels, OIIO::TypeDesc::UINT8);
    if (channels == 2) spec.alpha_channel = 1, spec.attribute("oiio:UnassociatedAlpha", 1);
    std::vector<uint8_t> v;
    for (int i = 0; i < 256; ++i) {
      v.push_back(static_cast<uint8_t>(i));
      if (channels == 2) v.push_back(51);
    }
    samples::write_file(dir + "g.png", spec, v);
    EXPECT_EQ(inspect_still(dir + "g.png", {.space = kRead})->channels, channels + 2);
    const auto file = read_still(dir + "g.png", {.space = kRead});
    ASSERT_TRUE(file) << to_string(file.error());
    ASSERT_EQ(file->picture.channels(), channels + 2);
    const double a = channels == 2 ? 0.2 : 1;
    for (int i = 0; i < 256; ++i)
      for (int c = 0; c < 3; ++c) ASSERT_NEAR(file->picture.at(i, 0)[c], a * light(i / 255.0), 1e-6);
  }
  Canvas grey(Rect::sized(3, 2), 1);
  for (int i = 0; i < 6; ++i) grey.row(0)[i] = 0.25f;
  ASSERT_TRUE(write_still(dir + "o.png", std::move(grey).finish(),
                          {.depth = Depth::bits8, .width = 4, .height = 2, .space = kWrite}));
  const auto out = samples::read_file<uint8_t>(dir + "o.png");
  ASSERT_EQ(out.size(), 24u);
  for (size_t i = 0; i < 24; ++i) EXPECT_EQ(out[i], i % 12 < 9 ? 128 : 0) << i;
}

TEST(Space, ATwoChannelFieldIsNoColour) {
  const std::string dir = samples::folder();
  ASSERT_TRUE(write_still(dir + "f.exr", samples::ramp({0, 0, 4, 4}, 2)));
  const auto read = read_still(dir + "f.exr", {.space = kRead});
  ASSERT_FALSE(read);
  EXPECT_EQ(
      to_string(read.error()),
      dir + "f.exr: the file has two channels, which are no colour; name an encoding instead of a colour space\n");
  const auto written = write_still(dir + "g.exr", samples::ramp({0, 0, 4, 4}, 2), {.space = kWrite});
  ASSERT_FALSE(written);
  EXPECT_EQ(to_string(written.error()),
            dir + "g.exr: a field of two channels is no colour; name an encoding instead of a colour space\n");
}

// Below 0 this space has no values; OpenEXR would store what is no number.
TEST(Space, WhatTheSpaceHasNoValueForIsWarnedOf) {
  const std::string file = samples::folder() + "n.exr";
  Canvas c(Rect::sized(1, 1), 3);
  c.row(0)[0] = -1, c.row(0)[1] = 4, c.row(0)[2] = INFINITY;
  const auto told = write_still(file, std::move(c).finish(), {.depth = Depth::float32, .space = kWrite});
  ASSERT_TRUE(told);
  EXPECT_EQ(to_string(*told),
            file + ": warning: 2 values are not finite numbers; 0 is written; look at what made them\n");
  EXPECT_EQ(samples::read_file<float>(file), (std::vector<float>{0, 0, 2}));
}

// Matrix and range stay those of the file; what they give is in the space, whatever it says of its curve and primaries.
TEST(Space, MoviesAreInItBehindTheirMatrix) {
  const std::string dir = samples::folder();
  const auto clip = [&](const std::string& name, const std::string& tags) {
    clips::ffmpeg(clips::card(2, ",setparams=range=tv:colorspace=smpte170m:" + tags) +
                  " -pix_fmt yuv422p10le -c:v ffv1 " + dir + name);
  };
  clip("plain.mkv", "color_trc=bt709:color_primaries=bt709");
  clip("wide.mkv", "color_trc=smpte2084:color_primaries=bt2020");
  const auto codes = Movie::open(dir + "plain.mkv", {.encoding = Encoding::linear});
  const auto movie = Movie::open(dir + "wide.mkv", {.matrix = Matrix::rec601, .space = kRead});
  ASSERT_TRUE(codes && movie);
  EXPECT_EQ((*movie)->info().matrix.value, Matrix::rec601);
  EXPECT_EQ((*movie)->info().matrix.from, "as asked");
  EXPECT_EQ(to_string((*movie)->info().warnings), "");
  const auto a = (*codes)->read(1), b = (*movie)->read(1);
  ASSERT_TRUE(a && b);
  for (int y = 0; y < 64; ++y)
    for (int x = 0; x < 96; ++x)
      for (int c = 0; c < 3; ++c) ASSERT_NEAR(b->at(x, y)[c], light(a->at(x, y)[(c + 1) % 3]), 1e-6);
}

TEST(Space, AGreyMovieBecomesColourAndAlphaStays) {
  const std::string dir = samples::folder();
  clips::ffmpeg(clips::card(1) + " -pix_fmt gray -c:v ffv1 " + dir + "grey.mkv");
  clips::ffmpeg(clips::card(1, ",format=yuva444p10le,geq=lum='p(X,Y)':cb='p(X,Y)':cr='p(X,Y)':a='X*8'") +
                " -c:v ffv1 " + dir + "alpha.mkv");
  const auto grey = Movie::open(dir + "grey.mkv", {.space = kRead}),
             plain = Movie::open(dir + "grey.mkv", {.encoding = Encoding::linear});
  ASSERT_TRUE(grey && plain);
  EXPECT_EQ((*grey)->info().channels, 3);
  const auto g = (*grey)->read(0), v = (*plain)->read(0);
  ASSERT_EQ(g->channels(), 3);
  for (int x = 0; x < 96; ++x)
    for (int c = 0; c < 3; ++c) ASSERT_NEAR(g->at(x, 20)[c], light(v->at(x, 20)[0]), 1e-6);
  const auto with = Movie::open(dir + "alpha.mkv", {.space = kRead}),
             straight = Movie::open(dir + "alpha.mkv", {.encoding = Encoding::linear});
  ASSERT_TRUE(with && straight);
  const auto p = (*with)->read(0), q = (*straight)->read(0);
  ASSERT_EQ(p->channels(), 4);
  for (int x = 1; x < 96; ++x) {
    const float a = q->at(x, 20)[3];
    EXPECT_EQ(p->at(x, 20)[3], a);
    for (int c = 0; c < 3; ++c) ASSERT_NEAR(p->at(x, 20)[c], a * light(q->at(x, 20)[(c + 1) % 3] / a), 1e-5) << x;
  }
}

TEST(Space, MoviesAreWrittenInItAndDoNotSayWhichItIs) {
  const std::string dir = samples::folder();
  for (int channels : {1, 3, 4}) {
    MovieWriteOptions o;
    o.depth = Depth::bits16, o.width = 32, o.height = 16, o.frames = 1, o.space = kWrite;
    const Picture p = samples::ramp({0, 0, 32, 16}, channels);
    auto writer = MovieWriter::open(dir + "o.mkv", o);
    ASSERT_TRUE(writer);
    ASSERT_TRUE((*writer)->add(0, p));
    ASSERT_TRUE((*writer)->finish());
    const auto movie = Movie::open(dir + "o.mkv", {.encoding = Encoding::linear});
    ASSERT_TRUE(movie);
    EXPECT_EQ((*movie)->info().primaries, "");
    EXPECT_EQ(Movie::open(dir + "o.mkv").value()->info().encoding.from, "usual for movies");
    const auto codes = (*movie)->read(0);
    ASSERT_TRUE(codes);
    for (int y = 0; y < 16; ++y)
      for (int x = 0; x < 32; ++x)
        for (int c = 0; c < 3; ++c)
          ASSERT_NEAR(codes->at(x, y)[c], std::sqrt(p.at(x, y)[channels == 1 ? 0 : (c + 2) % 3]), 1.01 / 65535);
    const auto back = Movie::open(dir + "o.mkv", {.space = kRead}).value()->read(0);
    for (int c = 0; c < 3; ++c) EXPECT_NEAR(back->at(20, 10)[c], p.at(20, 10)[channels == 1 ? 0 : c], 5e-5);
  }
}

}  // namespace pw::space_test
