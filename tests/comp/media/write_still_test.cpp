#include <gtest/gtest.h>

#include <chrono>
#include <cmath>
#include <limits>
#include <thread>

#include "comp/media/half_float.h"
#include "comp/media/still.h"
#include "samples.h"

namespace pw::write_still_test {

using OIIO::ImageSpec;
using OIIO::TypeDesc;

std::string problem(const auto& result) { return result ? "" : to_string(result.error()[0]); }

// Every code value that was in a file is in the file that is written from what was read.
template <class T>
void expect_codes_survive(const std::string& from, const std::string& to, int channels, Depth depth, Encoding e) {
  const int w = 211, h = 97;
  ImageSpec s(w, h, channels, sizeof(T) == 1 ? TypeDesc::UINT8 : TypeDesc::UINT16);
  s.alpha_channel = channels == 4 ? 3 : -1;
  s.attribute("oiio:UnassociatedAlpha", 1);
  auto codes = samples::random_values<T>(static_cast<size_t>(w) * h * channels, 11);
  if (channels == 4)
    for (size_t i = 3; i < codes.size(); i += 4)
      if (codes[i] == 0) codes[i - 3] = codes[i - 2] = codes[i - 1] = 0;  // Colour that is not seen is not kept.
  samples::write_file(from, s, codes);
  const auto r = read_still(from, {e});
  ASSERT_TRUE(r) << problem(r);
  const auto written = write_still(to, r->picture, {.encoding = e, .depth = depth});
  ASSERT_TRUE(written) << problem(written);
  EXPECT_TRUE(written->empty());
  EXPECT_EQ(samples::read_file<T>(to), codes) << to << " " << name(e);
}

TEST(WriteStill, CodeValuesNobodyTouchedComeBack) {
  const std::string dir = samples::folder();
  for (Encoding e : all_encodings())
    for (int channels : {1, 3, 4}) {
      expect_codes_survive<unsigned char>(dir + "a.png", dir + "b.png", channels, Depth::bits8, e);
      expect_codes_survive<uint16_t>(dir + "a.png", dir + "b.png", channels, Depth::bits16, e);
      expect_codes_survive<unsigned char>(dir + "a.tif", dir + "b.tif", channels, Depth::bits8, e);
      expect_codes_survive<uint16_t>(dir + "a.tif", dir + "b.tif", channels, Depth::bits16, e);
      expect_codes_survive<uint16_t>(dir + "a.dpx", dir + "b.dpx", channels, Depth::bits16, e);
      expect_codes_survive<unsigned char>(dir + "a.png", dir + "b.dpx", channels, Depth::bits8, e);
    }
}

TEST(WriteStill, TenBitCodesComeBack) {
  const std::string dir = samples::folder();
  for (int w : {32, 33, 34}) {
    Canvas c(Rect::sized(w, 40), 3);
    for (int y = 0; y < 40; ++y)
      for (int i = 0; i < w * 3; ++i)
        c.row(y)[i] = static_cast<float>(decode(Encoding::rec709_camera, (y * 37 + i) % 1024 / 1023.0));
    const Picture p = std::move(c).finish();
    ASSERT_TRUE(write_still(dir + "a.dpx", p));
    const auto r = read_still(dir + "a.dpx");
    ASSERT_TRUE(r);
    EXPECT_EQ(r->info.bits, 10);
    EXPECT_EQ(r->info.encoding, Encoding::rec709_camera);
    EXPECT_EQ(r->info.encoding_from, "as the file says");
    EXPECT_TRUE(same_bits(r->picture, p)) << w;
  }
}

TEST(WriteStill, ExrHoldsThePictureExactly) {
  const std::string dir = samples::folder();
  for (int channels : {1, 2, 3, 4})
    for (const char* compression : {"", "none", "rle", "zips", "piz"}) {
      Canvas c = Canvas::copy(samples::ramp({-7, -3, 40, 29}, channels), {-7, -3, 40, 29});
      *c.at(3, 3) = 1e30f;
      const Picture p = std::move(c).finish();
      const WriteOptions o{.depth = Depth::float32, .compression = compression, .width = 36, .height = 20};
      ASSERT_TRUE(write_still(dir + "a.exr", p, o));
      const auto r = read_still(dir + "a.exr");
      ASSERT_TRUE(r) << problem(r);
      EXPECT_TRUE(same_bits(r->picture, p)) << channels << compression;
      EXPECT_EQ(r->info.width, 36);
      EXPECT_EQ(r->info.height, 20);
    }
}

TEST(WriteStill, ExrAsOthersReadIt) {
  const std::string dir = samples::folder();
  ASSERT_TRUE(write_still(dir + "a.exr", samples::ramp({-7, -3, 40, 29}, 4), {.width = 36, .height = 20}));
  ImageSpec s;
  const auto halves = samples::read_file<uint16_t>(dir + "a.exr", &s);
  EXPECT_EQ(s.format, TypeDesc::HALF);
  EXPECT_EQ(s.x, -7);
  EXPECT_EQ(s.y, -3);
  EXPECT_EQ(s.width, 47);
  EXPECT_EQ(s.height, 32);
  EXPECT_EQ(s.full_x, 0);
  EXPECT_EQ(s.full_y, 0);
  EXPECT_EQ(s.full_width, 36);
  EXPECT_EQ(s.full_height, 20);
  EXPECT_EQ(s.channelnames, (std::vector<std::string>{"R", "G", "B", "A"}));
  EXPECT_EQ(s.get_string_attribute("compression"), "zip");
  std::vector<float> v(halves.size());
  half_to_float(halves.data(), v.data(), v.size());
  const Picture p = samples::ramp({-7, -3, 40, 29}, 4);
  for (int y = 0; y < 32; ++y)
    for (int i = 0; i < 47 * 4; ++i) EXPECT_NEAR(v[y * 47 * 4 + i], p.row(y - 3)[i], 3e-4);
}

TEST(WriteStill, ColourUnderZeroAlphaSurvivesInExr) {
  const std::string file = samples::folder() + "a.exr";
  const float flame[4] = {3, 0.5f, 0.125f, 0};
  ASSERT_TRUE(write_still(file, Canvas::filled(Rect::sized(2, 2), 4, flame).finish()));
  const auto r = read_still(file);
  for (int c = 0; c < 4; ++c) EXPECT_EQ(r->picture.at(1, 1)[c], flame[c]);
}

TEST(WriteStill, EncodedExrComesBackUnderTheSameName) {
  const std::string file = samples::folder() + "a.exr";
  const Picture p = samples::ramp(Rect::sized(20, 10), 4);
  ASSERT_TRUE(write_still(file, p, {.encoding = Encoding::srgb, .depth = Depth::float32}));
  const auto r = read_still(file, {Encoding::srgb});
  for (int y = 0; y < 10; ++y)
    for (int i = 0; i < 80; ++i) EXPECT_NEAR(r->picture.row(y)[i], p.row(y)[i], 1e-5);
  const auto raw = samples::read_file<float>(file);
  const float a = p.at(5, 5)[3];
  EXPECT_NEAR(raw[(5 * 20 + 5) * 4], encode(Encoding::srgb, double{p.at(5, 5)[0] / a}) * a, 1e-5);
}

TEST(WriteStill, OtherFormatsHoldTheCanvasClearWhereThereAreNoPixels) {
  const std::string dir = samples::folder();
  const float one[3] = {1, 1, 1};
  const Picture p = Canvas::filled({-2, 1, 3, 9}, 3, one).finish();
  for (const char* name : {"a.png", "a.tif", "a.dpx", "a.jpg"}) {
    ASSERT_TRUE(write_still(dir + name, p, {.width = 8, .height = 4}));
    const auto r = read_still(dir + name);
    ASSERT_TRUE(r) << problem(r);
    EXPECT_EQ(r->picture.window(), Rect::sized(8, 4));
    EXPECT_NEAR(r->picture.at(0, 3)[1], 1, 0.05) << name;
    EXPECT_NEAR(r->picture.at(7, 3)[1], 0, 0.05) << name;
    EXPECT_NEAR(r->picture.at(7, 0)[1], 0, 0.05) << name;
  }
  // A picture without pixels is a clear canvas, and one clear pixel in EXR.
  for (const char* name : {"a.png", "a.exr"}) {
    ASSERT_TRUE(write_still(dir + name, Picture(), {.width = 8, .height = 4})) << name;
    const auto r = read_still(dir + name);
    EXPECT_EQ(r->info.width, 8);
    EXPECT_EQ(r->picture.at(0, 0)[0], 0);
  }
}

TEST(WriteStill, JpegIsThePictureOverBlack) {
  const std::string file = samples::folder() + "a.jpg";
  const float half[4] = {0.25f, 0.25f, 0.25f, 0.5f};
  ASSERT_TRUE(write_still(file, Canvas::filled(Rect::sized(16, 16), 4, half).finish()));
  const auto r = read_still(file);
  EXPECT_EQ(r->picture.channels(), 3);
  EXPECT_NEAR(r->picture.at(8, 8)[0], 0.25, 0.01);
  ASSERT_TRUE(write_still(file, samples::ramp(Rect::sized(200, 200), 3), {.quality = 20}));
  const size_t small = samples::bytes_of(file).size();
  ASSERT_TRUE(write_still(file, samples::ramp(Rect::sized(200, 200), 3), {.quality = 95}));
  EXPECT_LT(small, samples::bytes_of(file).size());
}

TEST(WriteStill, TheSameInputGivesTheSameBytesAtAnyTime) {
  const std::string dir = samples::folder();
  const std::vector<std::string> names = {"a.exr", "a.png", "a.tif", "a.dpx", "a.jpg"};
  const Picture p = samples::ramp(Rect::sized(50, 40), 3);
  std::vector<std::vector<unsigned char>> before;
  for (const auto& n : names) {
    ASSERT_TRUE(write_still(dir + n, p, {.texts = {{"Shot", "quay"}}}));
    before.push_back(samples::bytes_of(dir + n));
  }
  std::this_thread::sleep_for(std::chrono::milliseconds(1100));  // Time stamps count seconds.
  std::filesystem::create_directory(dir + "elsewhere");
  for (size_t i = 0; i < names.size(); ++i) {
    ASSERT_TRUE(write_still(dir + "elsewhere/" + names[i], p, {.texts = {{"Shot", "quay"}}}));
    EXPECT_EQ(samples::bytes_of(dir + "elsewhere/" + names[i]), before[i]) << names[i];
  }
}

TEST(WriteStill, SaysWhoWroteItAndWhatItWasTold) {
  const std::string dir = samples::folder();
  for (const char* n : {"a.exr", "a.png"}) {
    ASSERT_TRUE(write_still(dir + n, samples::ramp(Rect::sized(5, 4), 3), {.texts = {{"Shot", "quay.toml"}}}));
    const auto s = inspect_still(dir + n);
    const std::pair<std::string, std::string> software{"Software", "Platewright"}, shot{"Shot", "quay.toml"};
    EXPECT_NE(std::find(s->texts.begin(), s->texts.end(), software), s->texts.end()) << n;
    EXPECT_NE(std::find(s->texts.begin(), s->texts.end(), shot), s->texts.end()) << n;
  }
}

TEST(WriteStill, PngNamesItsEncoding) {
  const std::string file = samples::folder() + "a.png";
  for (Encoding e : {Encoding::srgb, Encoding::linear, Encoding::bt1886}) {
    ASSERT_TRUE(write_still(file, samples::ramp(Rect::sized(5, 4), 3), {.encoding = e}));
    EXPECT_EQ(inspect_still(file)->encoding, e) << name(e);
  }
}

TEST(WriteStill, OddNumbersAreWrittenAsNumbersWithAWarning) {
  const std::string dir = samples::folder();
  const float v[3] = {std::numeric_limits<float>::quiet_NaN(), 1e6f, 0.5f};
  const Picture p = Canvas::filled(Rect::sized(2, 1), 3, v).finish();
  const auto png = write_still(dir + "a.png", p);
  ASSERT_TRUE(png);
  EXPECT_EQ(to_string(*png),
            dir + "a.png: warning: 2 values are not finite numbers; 0 is written; look at what made them\n");
  EXPECT_EQ(samples::read_file<unsigned char>(dir + "a.png"), (std::vector<unsigned char>{0, 255, 188, 0, 255, 188}));
  const auto exr = write_still(dir + "a.exr", p);
  ASSERT_TRUE(exr);
  EXPECT_EQ(
      to_string(*exr),
      dir + "a.exr: warning: 2 values are not finite numbers; 0 is written; look at what made them\n" + dir +
          "a.exr: warning: 2 values are beyond 65504, the most a half float holds, and are clamped; use depth float\n");
  EXPECT_EQ(samples::read_file<uint16_t>(dir + "a.exr"), (std::vector<uint16_t>{0, 0x7bff, 0x3800, 0, 0x7bff, 0x3800}));
}

TEST(WriteStill, SaysWhatAFormatHasNot) {
  const std::string dir = samples::folder();
  const Picture p = samples::ramp(Rect::sized(4, 4), 3);
  const auto said = [&](const std::string& file, int channels, const WriteOptions& o) {
    const std::string a = problem(check_format(file, channels, o));
    const std::string b = problem(write_still(file, samples::ramp(Rect::sized(4, 4), channels), o));
    EXPECT_EQ(a, b);
    return a;
  };
  EXPECT_EQ(
      said(dir + "a.pgn", 3, {}),
      dir +
          "a.pgn: .pgn is not a kind of picture that is written; use .png; there are also .jpg, .exr, .tif, .dpx, "
          ".jpeg, .tiff");
  EXPECT_EQ(
      said(dir + "frame", 3, {}),
      dir +
          "frame: the file has no extension to say what to write; end it with .exr, .png, .tif, .tiff, .dpx, .jpg, "
          ".jpeg");
  EXPECT_EQ(said(dir + "a.png", 3, {.depth = Depth::half}), dir + "a.png: PNG has no depth \"half\"; choose 8, 16");
  EXPECT_EQ(said(dir + "a.exr", 3, {.depth = Depth::bits8}), dir + "a.exr: EXR has no depth \"8\"; choose half, float");
  EXPECT_EQ(
      said(dir + "a.exr", 3, {.compression = "zap"}),
      dir + "a.exr: EXR has no compression \"zap\"; choose zip, none, rle, zips, piz, pxr24, b44, b44a, dwaa, dwab");
  EXPECT_EQ(said(dir + "a.png", 2, {}), dir + "a.png: PNG does not take a field of 2 channels; use .exr");
  EXPECT_EQ(said(dir + "a.dpx", 4, {.depth = Depth::bits10}),
            dir + "a.dpx: 10-bit DPX is written with 3 channels, not 4; use depth 16");
  EXPECT_EQ(said(dir + "a.jpg", 3, {.quality = 0}), dir + "a.jpg: quality is 0; it goes from 1 to 100");
  EXPECT_EQ(problem(write_still(dir + "no/a.png", p)),
            dir + "no/a.png: there is no folder " + dir + "no; create it or choose another");
  EXPECT_EQ(problem(write_still(dir + "a.png", p, {.width = 100000, .height = 10})),
            dir +
                "a.png: the picture is 100000 x 10 pixels; sides up to 65536 and 268 million pixels altogether are "
                "handled");
  EXPECT_TRUE(std::filesystem::is_empty(dir));
}

TEST(Depth, NamesComeBack) {
  for (Depth d : {Depth::bits8, Depth::bits10, Depth::bits16, Depth::half, Depth::float32})
    EXPECT_EQ(depth(name(d)), d);
  EXPECT_FALSE(depth("12"));
}

}  // namespace pw::write_still_test
