#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "comp/media/half_float.h"
#include "comp/media/still.h"
#include "samples.h"

namespace pw::read_still_test {

using OIIO::ImageSpec;
using OIIO::TypeDesc;

std::string problem(const auto& result) { return result ? "" : to_string(result.error()[0]); }

ImageSpec spec(int w, int h, int channels, TypeDesc type) { return ImageSpec(w, h, channels, type); }

TEST(ReadStill, PngCodesBecomeLight) {
  const std::string file = samples::folder() + "a.png";
  std::vector<unsigned char> v(256 * 3);
  for (size_t i = 0; i < v.size(); ++i) v[i] = static_cast<unsigned char>(i / 3);
  samples::write_file(file, spec(256, 1, 3, TypeDesc::UINT8), v);
  for (Encoding e : all_encodings()) {
    const auto s = read_still(file, {e});
    ASSERT_TRUE(s);
    EXPECT_EQ(s->info.encoding, e);
    EXPECT_EQ(s->info.encoding_from, "as asked");
    EXPECT_EQ(s->picture.channels(), 3);
    for (int x = 0; x < 256; ++x) EXPECT_FLOAT_EQ(s->picture.at(x, 0)[1], static_cast<float>(decode(e, x / 255.0)));
  }
  const auto s = read_still(file);
  EXPECT_EQ(s->info.encoding, Encoding::srgb);
  EXPECT_EQ(s->info.type, FileType::png);
  EXPECT_EQ(s->info.bits, 8);
  EXPECT_FALSE(s->info.is_float);
  EXPECT_TRUE(s->warnings.empty());
}

TEST(ReadStill, StraightAlphaIsMultipliedInLinearLight) {
  for (const char* name : {"a.png", "a.tif"}) {
    const std::string file = samples::folder() + name;
    ImageSpec s = spec(3, 1, 4, TypeDesc::UINT8);
    s.alpha_channel = 3;
    s.attribute("oiio:UnassociatedAlpha", 1);
    samples::write_file<unsigned char>(file, s, {188, 64, 255, 128, 188, 64, 255, 0, 10, 20, 30, 255});
    const auto r = read_still(file);
    ASSERT_TRUE(r) << problem(r);
    const float* p = r->picture.at(0, 0);
    // 0.502886458 and 0.051269458 are 188 and 64 in sRGB.
    EXPECT_NEAR(p[0], 0.502886458 * 128 / 255, 1e-7);
    EXPECT_NEAR(p[1], 0.051269458 * 128 / 255, 1e-7);
    EXPECT_NEAR(p[2], 128 / 255.0, 1e-7);
    EXPECT_NEAR(p[3], 128 / 255.0, 1e-7);
    for (int c = 0; c < 4; ++c) EXPECT_EQ(r->picture.at(1, 0)[c], 0);
    EXPECT_EQ(r->picture.at(2, 0)[3], 1);
  }
}

TEST(ReadStill, TiffThatWasMultipliedWhileEncodedIsDividedFirst) {
  const std::string file = samples::folder() + "a.tif";
  ImageSpec s = spec(1, 1, 4, TypeDesc::UINT16);
  s.alpha_channel = 3;  // Associated, unless said otherwise.
  samples::write_file<uint16_t>(file, s, {20000, 10000, 32768, 32768});
  const auto r = read_still(file);
  ASSERT_TRUE(r) << problem(r);
  const double a = 32768 / 65535.0;
  EXPECT_NEAR(r->picture.at(0, 0)[0], decode(Encoding::srgb, 20000 / 32768.0) * a, 2e-6);
  EXPECT_NEAR(r->picture.at(0, 0)[2], a, 2e-6);
}

TEST(ReadStill, ExrKeepsWindowsAndColourUnderZeroAlpha) {
  const std::string file = samples::folder() + "a.exr";
  ImageSpec s = spec(2, 1, 4, TypeDesc::FLOAT);
  s.x = -3;
  s.y = 90;
  s.full_x = 10;
  s.full_y = 20;
  s.full_width = 64;
  s.full_height = 48;
  samples::write_file<float>(file, s, {0.25f, 12.5f, -1, 0, 1, 2, 3, 0.5f});
  const auto r = read_still(file);
  ASSERT_TRUE(r) << problem(r);
  EXPECT_EQ(r->info.width, 64);
  EXPECT_EQ(r->info.height, 48);
  EXPECT_EQ(r->picture.window(), (Rect{-13, 70, -11, 71}));
  EXPECT_EQ(r->info.data_window, r->picture.window());
  const float* p = r->picture.at(-13, 70);
  EXPECT_EQ(p[0], 0.25f);
  EXPECT_EQ(p[1], 12.5f);
  EXPECT_EQ(p[2], -1);
  EXPECT_EQ(p[3], 0);
  EXPECT_EQ(p[6], 3);
  EXPECT_EQ(r->info.encoding, Encoding::linear);
}

TEST(ReadStill, EveryExrCompressionAndTiles) {
  const std::string dir = samples::folder();
  std::vector<float> v(70 * 50 * 3);
  for (size_t i = 0; i < v.size(); ++i) v[i] = static_cast<float>(i % 210) / 64;  // Halves hold these.
  for (const char* compression : {"none", "rle", "zip", "zips", "piz", "pxr24", "b44", "b44a", "dwaa", "dwab"})
    for (int tile : {0, 32}) {
      const std::string file = dir + compression + std::to_string(tile) + ".exr";
      ImageSpec s = spec(70, 50, 3, TypeDesc::HALF);
      s.attribute("compression", compression);
      s.tile_width = s.tile_height = tile;
      std::vector<uint16_t> h(v.size());
      float_to_half(v.data(), h.data(), v.size());
      samples::write_file(file, s, h);
      const auto r = read_still(file);
      ASSERT_TRUE(r) << problem(r);
      EXPECT_EQ(r->info.compression, compression);
      EXPECT_EQ(r->info.bits, 16);
      EXPECT_TRUE(r->info.is_float);
      const bool lossy = compression[0] == 'b' || compression[0] == 'd';
      for (int y = 0; y < 50; ++y)
        for (int i = 0; i < 210; ++i)
          ASSERT_NEAR(r->picture.row(y)[i], v[y * 210 + i], lossy ? 0.3 : 0) << compression << tile;
    }
}

TEST(ReadStill, ChannelsAreFoundByName) {
  const std::string dir = samples::folder();
  const auto read = [&](std::vector<std::string> names) {
    const int n = static_cast<int>(names.size());
    ImageSpec s = spec(2, 1, n, TypeDesc::FLOAT);
    s.channelnames = names;
    s.alpha_channel = -1;
    std::vector<float> v(2 * n);
    for (int i = 0; i < 2 * n; ++i) v[i] = static_cast<float>(i);
    samples::write_file(dir + "a.exr", s, v);
    return read_still(dir + "a.exr");
  };
  const auto values = [](const Result<StillFile>& r) {
    return std::vector<float>(r->picture.at(1, 0), r->picture.at(1, 0) + r->picture.channels());
  };
  EXPECT_EQ(values(read({"R", "G", "B", "A"})), (std::vector<float>{4, 5, 6, 7}));
  EXPECT_EQ(values(read({"R", "G", "B", "A", "Z", "id.X"})), (std::vector<float>{6, 7, 8, 9}));
  EXPECT_EQ(values(read({"Z", "a.A", "a.B", "a.G", "a.R"})), (std::vector<float>{9, 8, 7, 6}));
  EXPECT_EQ(values(read({"Y"})), (std::vector<float>{1}));
  EXPECT_EQ(values(read({"Y", "A"})), (std::vector<float>{2, 2, 2, 3}));
  EXPECT_EQ(values(read({"u", "v"})), (std::vector<float>{2, 3}));
  EXPECT_EQ(
      problem(read({"p", "q", "r", "s", "t"})),
      dir + "a.exr: the file has 5 channels and none named R, G and B, or Y; write those that are wanted as R, G, B");
}

TEST(ReadStill, GreyStaysOneChannelAndGreyWithAlphaBecomesFour) {
  const std::string dir = samples::folder();
  samples::write_file<unsigned char>(dir + "g.png", spec(2, 1, 1, TypeDesc::UINT8), {0, 188});
  const auto grey = read_still(dir + "g.png");
  EXPECT_EQ(grey->picture.channels(), 1);
  EXPECT_NEAR(grey->picture.at(1, 0)[0], 0.502886458, 1e-7);
  ImageSpec s = spec(1, 1, 2, TypeDesc::UINT8);
  s.channelnames = {"Y", "A"};
  s.alpha_channel = 1;
  s.attribute("oiio:UnassociatedAlpha", 1);
  samples::write_file<unsigned char>(dir + "ga.png", s, {188, 51});
  const auto both = read_still(dir + "ga.png");
  ASSERT_EQ(both->picture.channels(), 4);
  EXPECT_EQ(both->info.channels, 4);
  for (int c = 0; c < 3; ++c) EXPECT_NEAR(both->picture.at(0, 0)[c], 0.502886458 * 0.2, 1e-7);
  EXPECT_NEAR(both->picture.at(0, 0)[3], 0.2, 1e-7);
}

TEST(ReadStill, PhotographsAreSetUpright) {
  const std::string dir = samples::folder();
  for (const auto& [orientation, want] : std::vector<std::pair<int, std::vector<int>>>{{1, {0, 1, 2, 3, 4, 5}},
                                                                                       {2, {2, 1, 0, 5, 4, 3}},
                                                                                       {3, {5, 4, 3, 2, 1, 0}},
                                                                                       {4, {3, 4, 5, 0, 1, 2}},
                                                                                       {5, {0, 3, 1, 4, 2, 5}},
                                                                                       {6, {3, 0, 4, 1, 5, 2}},
                                                                                       {7, {5, 2, 4, 1, 3, 0}},
                                                                                       {8, {2, 5, 1, 4, 0, 3}}}) {
    ImageSpec s = spec(3, 2, 1, TypeDesc::UINT8);
    s.attribute("Orientation", orientation);
    samples::write_file<unsigned char>(dir + "a.tif", s, {0, 1, 2, 3, 4, 5});
    const auto r = read_still(dir + "a.tif", {Encoding::linear});
    ASSERT_TRUE(r);
    const bool turned = orientation > 4;
    EXPECT_EQ(r->info.width, turned ? 2 : 3);
    EXPECT_EQ(r->picture.window(), turned ? Rect::sized(2, 3) : Rect::sized(3, 2));
    std::vector<int> got;
    for (int y = 0; y < r->info.height; ++y)
      for (int x = 0; x < r->info.width; ++x) got.push_back(std::lround(r->picture.at(x, y)[0] * 255));
    EXPECT_EQ(got, want) << orientation;
  }
}

TEST(ReadStill, ContentDecidesNotTheName) {
  const std::string dir = samples::folder();
  samples::write_file<unsigned char>(dir + "a.png", spec(1, 1, 1, TypeDesc::UINT8), {7});
  std::filesystem::rename(dir + "a.png", dir + "a.exr");
  EXPECT_EQ(inspect_still(dir + "a.exr")->type, FileType::png);
}

TEST(ReadStill, TagsNameTheEncoding) {
  const std::string dir = samples::folder();
  ImageSpec s = spec(1, 1, 3, TypeDesc::UINT8);
  s.attribute("oiio:ColorSpace", "Linear");
  samples::write_file<unsigned char>(dir + "a.png", s, {1, 2, 3});
  EXPECT_EQ(inspect_still(dir + "a.png")->encoding, Encoding::linear);
  EXPECT_EQ(inspect_still(dir + "a.png")->encoding_from, "as the file says");
  ImageSpec d = spec(4, 4, 3, TypeDesc::UINT16);
  for (const auto& [transfer, want] :
       std::vector<std::pair<const char*, Encoding>>{{"Linear", Encoding::linear},
                                                     {"ITU-R 709-4", Encoding::rec709_camera},
                                                     {"User defined", Encoding::rec709_camera}}) {
    d.attribute("dpx:Transfer", transfer);
    samples::write_file(dir + "a.dpx", d, std::vector<uint16_t>(48));
    EXPECT_EQ(inspect_still(dir + "a.dpx")->encoding, want) << transfer;
  }
  d.attribute("dpx:Transfer", "Printing density");
  samples::write_file(dir + "a.dpx", d, std::vector<uint16_t>(48));
  EXPECT_EQ(
      problem(read_still(dir + "a.dpx")),
      dir +
          "a.dpx: the film densities of this DPX file are logarithmic, which is not handled; convert it to linear "
          "EXR, or name an encoding to read it as");
  EXPECT_TRUE(read_still(dir + "a.dpx", {Encoding::linear}));
}

TEST(ReadStill, DpxDepths) {
  const std::string dir = samples::folder();
  for (int bits : {8, 10, 12, 16})
    for (int w : {37, 40}) {
      ImageSpec s = spec(w, 9, 3, bits == 8 ? TypeDesc::UINT8 : TypeDesc::UINT16);
      s.attribute("oiio:BitsPerSample", bits);
      std::vector<uint16_t> codes = samples::random_values<uint16_t>(static_cast<size_t>(w) * 27, 3), stored;
      for (uint16_t& c : codes) c = static_cast<uint16_t>(c >> (16 - bits));
      for (uint16_t c : codes)
        stored.push_back(static_cast<uint16_t>(bits == 16 ? c : c << (16 - bits) | c >> (2 * bits - 16)));
      const std::string file = dir + std::to_string(bits) + ".dpx";
      if (bits == 8)
        samples::write_file(file, s, std::vector<unsigned char>(codes.begin(), codes.end()));
      else
        samples::write_file(file, s, stored);
      const auto r = read_still(file, {Encoding::linear});
      ASSERT_TRUE(r) << problem(r);
      EXPECT_EQ(r->info.bits, bits);
      const float last = static_cast<float>((1 << bits) - 1);
      for (int y = 0; y < 9; ++y)
        for (int i = 0; i < 3 * w; ++i) ASSERT_FLOAT_EQ(r->picture.row(y)[i], codes[y * 3 * w + i] / last);
    }
}

TEST(ReadStill, NumbersThatAreNotFiniteAreMadeSoWithAWarning) {
  const std::string file = samples::folder() + "a.exr";
  const float inf = std::numeric_limits<float>::infinity(), nan = std::numeric_limits<float>::quiet_NaN();
  samples::write_file<float>(file, spec(2, 1, 3, TypeDesc::FLOAT), {nan, inf, -inf, 1, 2, 3});
  const auto r = read_still(file);
  ASSERT_TRUE(r);
  EXPECT_EQ(r->picture.at(0, 0)[0], 0);
  EXPECT_EQ(r->picture.at(0, 0)[1], 65504);
  EXPECT_EQ(r->picture.at(0, 0)[2], -65504);
  EXPECT_EQ(r->picture.at(1, 0)[2], 3);
  EXPECT_EQ(
      to_string(r->warnings),
      file +
          ": warning: 3 values are not finite numbers; they are read as 0 or 65504; render it again if that shows\n");
}

TEST(ReadStill, ColoursThatAreNotHeededAreTold) {
  const std::string file = samples::folder() + "a.exr";
  ImageSpec s = spec(2, 1, 3, TypeDesc::FLOAT);
  float wide[8] = {0.708f, 0.292f, 0.170f, 0.797f, 0.131f, 0.046f, 0.3127f, 0.3290f};  // BT.2020-2, table 3.
  s.attribute("chromaticities", TypeDesc(TypeDesc::FLOAT, 8), wide);
  samples::write_file<float>(file, s, {0, 0, 0, 1, 2, 3});
  const auto r = read_still(file);
  ASSERT_TRUE(r);
  EXPECT_TRUE(r->warnings.empty());
  const std::string told = file +
                           ": warning: the picture says that its primaries or its white are others than BT.709's, "
                           "which is not heeded; convert it to linear BT.709 if its colours look wrong\n";
  EXPECT_EQ(to_string(r->info.warnings), told);
  const auto seen = inspect_still(file);
  ASSERT_TRUE(seen);
  EXPECT_EQ(to_string(seen->warnings), told);
}

TEST(ReadStill, WhatIsNotHandledIsNamedWithTheRemedy) {
  const std::string dir = samples::folder();
  ImageSpec wide = spec(4, 4, 3, TypeDesc::HALF);
  wide.attribute("PixelAspectRatio", 2.0f);
  samples::write_file(dir + "wide.exr", wide, std::vector<uint16_t>(48));
  EXPECT_EQ(problem(read_still(dir + "wide.exr")),
            dir + "wide.exr: the pixels are not square (aspect 2); resample the picture to square pixels first");
  samples::write_text(dir + "note.png", "a letter\n");
  EXPECT_EQ(problem(read_still(dir + "note.png")),
            dir + "note.png: this is no picture but text; name an EXR, PNG, TIFF, DPX or JPEG file");
  samples::write_bytes(dir + "yard.mp4", {0, 0, 0, 24, 'f', 't', 'y', 'p', 'i', 's', 'o', 'm', 0, 0, 2, 0});
  EXPECT_EQ(problem(read_still(dir + "yard.mp4")),
            dir +
                "yard.mp4: this is an MP4 or QuickTime movie; footage takes movies; take a still from one with image = "
                "\"NODE\" and frames");
  samples::write_text(dir + "a.gif", "GIF89a....");
  EXPECT_EQ(problem(read_still(dir + "a.gif")),
            dir + "a.gif: this is a GIF picture; convert it to EXR, PNG, TIFF, DPX or JPEG");
  samples::write_bytes(dir + "noise.exr", samples::random_values<unsigned char>(5000, 9));
  EXPECT_EQ(problem(read_still(dir + "noise.exr")),
            dir + "noise.exr: this is no kind of file that is known; name an EXR, PNG, TIFF, DPX or JPEG file");
  EXPECT_EQ(problem(read_still(dir)), dir + ": this is a folder; name a file in it");
  EXPECT_EQ(problem(read_still(dir + "no.png")), dir + "no.png: there is no such file; check the name");
}

TEST(ReadStill, AFileThatIsCutOffIsNeverAPartialPicture) {
  const std::string dir = samples::folder();
  for (const char* name : {"a.exr", "a.png", "a.tif", "a.dpx", "a.jpg"}) {
    const std::string file = dir + name;
    const bool exr = file.ends_with("exr");
    ImageSpec s = spec(120, 90, 3, exr ? TypeDesc::HALF : TypeDesc::UINT8);
    if (exr)
      samples::write_file(file, s, std::vector<uint16_t>(120 * 90 * 3, 0x3555));
    else
      samples::write_file(file, s, samples::random_values<unsigned char>(120 * 90 * 3, 4));
    const auto whole = samples::bytes_of(file);
    ASSERT_TRUE(read_still(file)) << problem(read_still(file));
    for (double part : {0.1, 0.3, 0.5, 0.9, 0.99, 0.999}) {
      auto cut = whole;
      cut.resize(static_cast<size_t>(static_cast<double>(whole.size()) * part));
      samples::write_bytes(file, cut);
      EXPECT_EQ(problem(read_still(file)), file + ": the file is cut off; copy or render it again") << part;
    }
  }
}

}  // namespace pw::read_still_test
