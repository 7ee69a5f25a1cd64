// A shot whose plate and deliveries are in a colour space of a configuration: text, check, survey, render.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <random>

#include "comp/graph/key.h"
#include "comp/graph/render.h"
#include "comp/media/still.h"
#include "comp/spec/describe.h"
#include "shots.h"

namespace pw::ocio_shot_test {

using shots::scene_of;

// Red and green of the space change places in the reference, which is linear Rec.709 light; blue is twice as bright.
std::string config(const std::string& more = "") {
  return "ocio_profile_version: 2\nroles:\n  default: raw\n  quay: foot\ncolorspaces:\n"
         "  - !<ColorSpace>\n    name: raw\n    isdata: true\n"
         "  - !<ColorSpace>\n    name: light\n"
         "  - !<ColorSpace>\n    name: foot\n    to_scene_reference: !<GroupTransform>\n      children:\n"
         "        - !<ExponentWithLinearTransform> {gamma: 2.4, offset: 0.055}\n"
         "        - !<MatrixTransform> {matrix: [0.25, 0.75, 0, 0, 1, 0, 0, 0, 0, 0, 2, 0, 0, 0, 0, 1]}\n"
         "  - !<ColorSpace>\n    name: table\n    to_scene_reference: !<FileTransform> {src: t.spi1d}\n"
         "  - !<ColorSpace>\n    name: flat\n    to_scene_reference: !<MatrixTransform> {matrix: [1, 0, 0, 0, 1, 0, 0, "
         "0, 0, 0, 1, 0, 0, 0, 0, 1]}\n" +
         more;
}

double curve(double v) {
  const double knee = 0.055 / 1.4, at_knee = std::pow((knee + 0.055) / 1.055, 2.4);
  return v > knee ? std::pow((v + 0.055) / 1.055, 2.4) : v * at_knee / knee;
}

void write(const std::string& path, const std::string& text) { std::ofstream(path, std::ios::binary) << text; }

std::string folder() {
  const std::string dir = test_folder("ocio_shot_test");
  write(dir + "config.ocio", config());
  return dir;
}

// Codes as values: every grey of 8 bits, then any.
Picture codes(int last) {
  std::mt19937 g(2);
  Canvas c(Rect::sized(256, 40), 3);
  for (int y = 0; y < 40; ++y)
    for (int x = 0; x < 256; ++x)
      for (int k = 0; k < 3; ++k)
        c.at(x, y)[k] = static_cast<float>(y == 0 ? x : static_cast<int>(g() % static_cast<unsigned>(last + 1))) /
                        static_cast<float>(last);
  return std::move(c).finish();
}

void plate(const std::string& dir, Depth depth = Depth::bits8) {
  for (int f : {1, 2})
    ASSERT_TRUE(write_still(fmt::format("{}p.{}.png", dir, f), codes(depth == Depth::bits8 ? 255 : 65535),
                            {.encoding = Encoding::linear, .depth = depth}));
}

RenderReport run(const Scene& s, int threads = 2, int band = 0) {
  const std::vector<int> sinks = shots::sinks_of(s);
  const auto runner = arena(threads);
  const auto results = measure(s, sinks, {*runner});
  EXPECT_TRUE(results);
  return render(
      s, *results, sinks, {1, 2},
      {.runner = *runner, .frames_at_once = threads, .band_height = band, .tile_height = threads == 1 ? 64 : 7});
}

// What a scene has to say, without the folder.
std::string said(const std::string& dir, const Result<Scene>& s) {
  std::string t = s ? to_string(s->warnings) : to_string(s.error());
  for (size_t at; (at = t.find(dir)) != std::string::npos;) t.erase(at, dir.size());
  return t;
}

std::vector<unsigned char> bytes_of(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

const std::string kShot = "shot = { like = \"plate\", ocio = \"config.ocio\", ocio_linear = \"light\" }\n";
const std::string kPlate = "plate = { kind = \"footage\", file = \"p.#.png\", encoding = \"foot\" }\n";

std::string deliver(const std::string& name, const std::string& more) {
  return fmt::format("{0} = {{ kind = \"deliver\", image = \"plate\", file = \"{0}.#.{1} }}\n", name, more);
}

TEST(OcioShot, PixelsNobodyTouchedComeBackWithTheirCodes) {
  for (const Depth depth : {Depth::bits8, Depth::bits16}) {
    const std::string dir = folder();
    plate(dir, depth);
    const auto s = scene_of(
        dir, kShot + kPlate + deliver("out", fmt::format("png\", encoding = \"quay\", depth = \"{}\"", name(depth))) +
                 deliver("light", "exr\", depth = \"float\""));
    ASSERT_TRUE(s) << to_string(s.error());
    EXPECT_EQ(said(dir, s), "");
    const RenderReport r = run(*s);
    EXPECT_EQ(to_string(r.problems), "");
    EXPECT_EQ(r.written, 4);
    const auto in = read_still(dir + "p.2.png", {.encoding = Encoding::linear});
    const auto out = read_still(dir + "out.2.png", {.encoding = Encoding::linear});
    const auto light = read_still(dir + "light.2.exr");
    ASSERT_TRUE(in && out && light);
    EXPECT_TRUE(same_bits(in->picture, out->picture));
    for (int y = 0; y < 40; ++y)
      for (int x = 0; x < 256; ++x) {
        const float* v = in->picture.at(x, y);
        const double want[] = {0.25 * curve(v[0]) + 0.75 * curve(v[1]), curve(v[0]), 2 * curve(v[2])};
        for (int k = 0; k < 3; ++k) ASSERT_NEAR(light->picture.at(x, y)[k], want[k], 2e-6);
      }
  }
}

TEST(OcioShot, ThreadsBandsAndTilesMakeNoDifference) {
  const std::string dir = folder();
  plate(dir);
  const auto s =
      scene_of(dir, kShot + kPlate +
                        "[graded]\nkind = \"cdl\"\nimage = \"plate\"\nspace = \"foot\"\nslope = [1.1]\n[out]\nkind = "
                        "\"deliver\"\nimage = \"graded\"\nfile = \"out.#.exr\"\nencoding = \"foot\"\n");
  ASSERT_TRUE(s) << to_string(s.error());
  EXPECT_EQ(run(*s).written, 2);
  const auto first = bytes_of(dir + "out.1.exr");
  for (const auto& [threads, band] : {std::pair{1, 0}, {2, 7}, {1, 3}}) {
    std::filesystem::remove(dir + "out.1.exr");
    EXPECT_EQ(run(*s, threads, band).written, 1);
    EXPECT_EQ(bytes_of(dir + "out.1.exr"), first);
  }
  // What a grade in the space does, by hand: its codes times 1.1.
  const auto in = read_still(dir + "p.1.png", {.encoding = Encoding::linear});
  const auto out = read_still(dir + "out.1.exr");
  for (int x = 0; x < 256; ++x)
    for (int k = 0; k < 3; ++k)
      ASSERT_NEAR(out->picture.at(x, 9)[k], 1.1 * in->picture.at(x, 9)[k], 1e-3);  // A half float.
}

TEST(OcioShot, AStillIsReadInIt) {
  const std::string dir = folder();
  plate(dir);
  const auto s = scene_of(dir,
                          "shot = { size = [256, 40], frames = [1, 2], ocio = \"config.ocio\", ocio_linear = \"light\" "
                          "}\nplate = { kind = \"still\", file = \"p.1.png\", encoding = \"foot\" }\n" +
                              deliver("out", "png\", encoding = \"foot\""));
  ASSERT_TRUE(s) << to_string(s.error());
  EXPECT_EQ(to_string(run(*s).problems), "");
  const auto in = read_still(dir + "p.1.png", {.encoding = Encoding::linear});
  const auto out = read_still(dir + "out.2.png", {.encoding = Encoding::linear});
  ASSERT_TRUE(in && out);
  EXPECT_TRUE(same_bits(in->picture, out->picture));
}

TEST(OcioShot, AMovieIsReadAndWrittenInIt) {
  const std::string dir = folder();
  plate(dir);
  const auto s = scene_of(
      dir,
      kShot + kPlate +
          "out = { kind = \"deliver\", image = \"plate\", file = \"out.mkv\", depth = \"8\", encoding = \"foot\" }\n");
  ASSERT_TRUE(s) << to_string(s.error());
  EXPECT_EQ(to_string(run(*s).problems), "");
  const auto again = scene_of(dir,
                              "shot = { like = \"plate\", ocio = \"config.ocio\", ocio_linear = \"light\" }\nplate = { "
                              "kind = \"footage\", file = \"out.mkv\", encoding = \"foot\" }\n" +
                                  deliver("back", "png\", encoding = \"foot\""));
  ASSERT_TRUE(again) << to_string(again.error());
  EXPECT_EQ(to_string(run(*again).problems), "");
  const auto in = read_still(dir + "p.2.png", {.encoding = Encoding::linear});
  const auto out = read_still(dir + "back.2.png", {.encoding = Encoding::linear});
  ASSERT_TRUE(in && out);
  EXPECT_TRUE(same_bits(in->picture, out->picture));
}

TEST(OcioShot, WhatIsDeliveredIsStaleWhenTheSpaceIsAnother) {
  const std::string dir = folder();
  plate(dir);
  const auto written = [&] {
    const auto s = scene_of(dir, kShot + kPlate + deliver("a", "png\", encoding = \"foot\"") + deliver("b", "exr\""));
    EXPECT_TRUE(s) << to_string(s.error());
    return run(*s).written;
  };
  EXPECT_EQ(written(), 4);
  EXPECT_EQ(written(), 0);
  write(dir + "config.ocio", config("  - !<ColorSpace>\n    name: other\n"));
  EXPECT_EQ(written(), 0);  // That is another space's concern.
  std::string changed = config();
  changed.replace(changed.find("0.75"), 4, "0.76");
  write(dir + "config.ocio", changed);
  EXPECT_EQ(written(), 4);
  EXPECT_EQ(written(), 0);
}

TEST(OcioShot, ALookUpFileThatChangesMakesItStale) {
  const std::string dir = folder();
  plate(dir);
  const auto keys = [&](const char* middle) {
    write(dir + "t.spi1d",
          fmt::format("Version 1\nFrom 0.0 1.0\nLength 3\nComponents 1\n{{\n0.0\n{}\n1.0\n}}\n", middle));
    const auto s = scene_of(dir, kShot +
                                     "plate = { kind = \"footage\", file = \"p.#.png\", encoding = \"table\" }\nother "
                                     "= { kind = \"footage\", file = \"p.#.png\", encoding = \"srgb\" }\n" +
                                     deliver("a", "png\""));
    EXPECT_TRUE(s) << to_string(s.error());
    return cache_keys(*s);
  };
  const auto a = keys("0.2"), b = keys("0.3"), again = keys("0.2");
  EXPECT_NE(a[0], b[0]);
  EXPECT_EQ(a[1], b[1]);
  EXPECT_NE(a[2], b[2]);
  EXPECT_EQ(a, again);
}

// Ours, whatever the configuration calls so; and a configuration that nobody names changes no key.
TEST(OcioShot, OurOwnNamesComeFirst) {
  const std::string dir = folder();
  plate(dir);
  write(dir + "config.ocio", config("  - !<ColorSpace>\n    name: srgb\n    to_scene_reference: !<MatrixTransform> "
                                    "{matrix: [0, 1, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]}\n"));
  const auto text = [](const std::string& shot) {
    return shot + "plate = { kind = \"footage\", file = \"p.#.png\", encoding = \"srgb\" }\n" + deliver("a", "png\"");
  };
  const auto with = scene_of(dir, text(kShot)), without = scene_of(dir, text("shot = { like = \"plate\" }\n"));
  ASSERT_TRUE(with && without);
  EXPECT_EQ(cache_keys(*with), cache_keys(*without));
  EXPECT_EQ(said(dir, with),
            "s.toml:1:33: warning: shot.ocio names a configuration, but no node names a space of it; name one, as in "
            "encoding = \"...\", or take it out\n");
}

TEST(OcioShot, TheEnvironmentNamesOneToo) {
  const std::string dir = folder();
  plate(dir);
  const std::string shot = "shot = { like = \"plate\", ocio_linear = \"light\" }\n",
                    nodes = kPlate + deliver("a", "png\", encoding = \"foot\"");
  EXPECT_EQ(said(dir, scene_of(dir, shot + nodes)),
            "s.toml:2:58: plate.encoding is \"foot\"; it may be tagged, srgb, rec709-camera, bt1886, linear, hlg, pq\n"
            "s.toml:3:71: a.encoding is \"foot\"; it may be tagged, srgb, rec709-camera, bt1886, linear, hlg, pq\n");
  EXPECT_EQ(said(dir, scene_of(dir, shot + "plate = { kind = \"footage\", file = \"p.#.png\" }\n")),
            "s.toml:1:40: shot.ocio_linear names a space, but there is no configuration it could be of; add ocio = "
            "\"config.ocio\"\n");
  ASSERT_EQ(setenv("OCIO", (dir + "config.ocio").c_str(), 1), 0);
  const auto by_environment = scene_of(dir, shot + nodes), by_file = scene_of(dir, kShot + nodes);
  write(dir + "junk.ocio", "ocio_profile_version: [");
  ASSERT_EQ(setenv("OCIO", (dir + "junk.ocio").c_str(), 1), 0);
  const auto file_wins = scene_of(dir, kShot + nodes);
  const auto untouched = scene_of(dir, "plate = { kind = \"footage\", file = \"p.#.png\" }\n");
  const std::string broken = said(dir, scene_of(dir, shot + nodes));
  unsetenv("OCIO");
  ASSERT_TRUE(by_environment && by_file && file_wins) << to_string(by_environment.error());
  EXPECT_EQ(cache_keys(*by_environment), cache_keys(*by_file));
  EXPECT_EQ(cache_keys(*file_wins), cache_keys(*by_file));
  EXPECT_EQ(said(dir, untouched), "");
  EXPECT_TRUE(broken.starts_with("junk.ocio: this is no configuration of OpenColorIO (")) << broken;
  EXPECT_EQ(std::count(broken.begin(), broken.end(), '\n'), 1) << broken;  // Once, though two nodes name a space.
}

TEST(OcioShot, MistakesAreFoundBeforeAnythingIsDrawn) {
  const std::string dir = folder();
  plate(dir);
  const auto with = [&](const std::string& in, const std::string& out, const std::string& shot = kShot) {
    return said(
        dir, scene_of(dir, fmt::format("{}plate = {{ kind = \"footage\", file = \"p.#.png\", encoding = \"{}\" }}\n{}",
                                       shot, in, deliver("a", fmt::format("png\", encoding = \"{}\"", out)))));
  };
  EXPECT_EQ(with("fot", "tagged"),
            "s.toml:2:58: plate.encoding is \"fot\", which is no colour space of config.ocio; did you mean \"foot\"? "
            "it may be tagged, srgb, rec709-camera, bt1886, "
            "linear, hlg, pq, or light, foot, table, flat\n");
  EXPECT_EQ(with("foot", "raw"),
            "s.toml:3:71: a.encoding is \"raw\", which config.ocio keeps for data, not for colour; name a space of "
            "colour; linear reads numbers as they are\n");
  EXPECT_EQ(with("flat", "tagged"), "");
  EXPECT_EQ(
      with("foot", "flat"),
      "config.ocio: \"flat\" cannot be written (Singular Matrix can't be inverted); name another colour space, or "
      "mend the configuration\n");
  EXPECT_EQ(
      with("foot", "foot", "shot = { ocio = \"config.ocio\" }\n"),
      "s.toml:2:58: plate.encoding is \"foot\", but config.ocio does not say where linear Rec.709 light lies: it has "
      "no role aces_interchange; name its space of that: shot = { ocio_linear = \"...\" }\n"
      "s.toml:3:71: a.encoding is \"foot\", but config.ocio does not say where linear Rec.709 light lies: it has "
      "no role aces_interchange; name its space of that: shot = { ocio_linear = \"...\" }\n");
  EXPECT_EQ(
      with("foot", "foot", "shot = { ocio = \"config.ocio\", ocio_linear = \"lite\" }\n"),
      "s.toml:1:1: shot.ocio_linear is \"lite\", which is no colour space of config.ocio; name its space of linear "
      "light of Rec.709's primaries\n");
  EXPECT_EQ(with("foot", "foot", "shot = { ocio = \"gone.ocio\" }\n"),
            "gone.ocio: there is no such configuration of OpenColorIO; name the file that ends in .ocio\n");
  EXPECT_EQ(with("foot", "foot", "shot = { ocio = \"\" }\n"),
            "s.toml:1:17: shot.ocio is empty; name a file, or take it out\n");
  const std::string table = with("table", "tagged");
  EXPECT_TRUE(
      table.starts_with("config.ocio: a file that \"table\" needs is not there (The specified file reference "
                        "'t.spi1d' could not be located."))
      << table;
}

TEST(OcioShot, TheSchemaTakesSuchNames) {
  const std::string schema = schema_of_shot(all_kinds());
  EXPECT_NE(schema.find("\"ocio_linear\""), std::string::npos);
  const size_t at = schema.find("\"encoding\": {");
  ASSERT_NE(at, std::string::npos);
  const std::string encoding = schema.substr(at, schema.find("description", at) - at);
  EXPECT_NE(encoding.find("anyOf"), std::string::npos) << encoding;
  EXPECT_NE(encoding.find("\"type\": \"string\""), std::string::npos) << encoding;
  EXPECT_NE(encoding.find("\"rec709-camera\""), std::string::npos) << encoding;
}

}  // namespace pw::ocio_shot_test
