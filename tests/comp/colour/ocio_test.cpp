// Configurations written here, and what their spaces are by hand in double precision.
#include "comp/colour/ocio.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <Eigen/LU>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <random>
#include <thread>

#include "base/transform.h"
#include "tests/folder.h"

namespace pw::ocio_test {

using Way = Colours::Way;

std::string folder() { return test_folder("ocio_test"); }

std::string write(const std::string& path, const std::string& text) {
  std::ofstream(path, std::ios::binary) << text;
  return path;
}

// The reference's red is the space's green and a bit of its red, and so on: no plain numbers, rows of sum 1.
const double kSpace[9] = {0.2, 0.7, 0.1, 0.85, 0.1, 0.05, 0.02, 0.08, 0.9};
const double kLinear[9] = {0.6, 0.3, 0.1, 0.1, 0.8, 0.1, 0.05, 0.15, 0.8};

Matrix3 matrix(const double* m) { return Eigen::Map<const Eigen::Matrix<double, 3, 3, Eigen::RowMajor>>(m); }

std::string in_yaml(const double* m) {
  return fmt::format("!<MatrixTransform> {{matrix: [{}, {}, {}, 0, {}, {}, {}, 0, {}, {}, {}, 0, 0, 0, 0, 1]}}", m[0],
                     m[1], m[2], m[3], m[4], m[5], m[6], m[7], m[8]);
}

std::string space(const std::string& name, const std::string& to_reference) {
  return fmt::format("  - !<ColorSpace>\n    name: {}\n    to_reference: {}\n", name, to_reference);
}
std::string group(const std::string& a, const std::string& b) {
  return fmt::format("!<GroupTransform>\n      children:\n        - {}\n        - {}", a, b);
}

constexpr const char* kHead = "ocio_profile_version: 1\nsearch_path: luts\nroles:\n  default: raw\n  plate: gamma\n";

// Of the first version, as most configurations still are: no interchange roles.
std::string old_config() {
  return std::string(kHead) + "colorspaces:\n  - !<ColorSpace>\n    name: raw\n    isdata: true\n" +
         space("light", in_yaml(kLinear)) +
         space("gamma", group("!<ExponentTransform> {value: [2.2, 2.2, 2.2, 1]}", in_yaml(kSpace))) +
         space("plain", in_yaml(kSpace)) +
         space("table", group("!<FileTransform> {src: t.spi1d, interpolation: linear}", in_yaml(kSpace))) +
         space("gone", "!<FileTransform> {src: gone.spi1d, interpolation: linear}") +
         space("flat", "!<MatrixTransform> {matrix: [1, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]}");
}

// One that everybody has to be able to undo: a straight foot, so that no code is lost in a float.
std::string new_config(const std::string& roles = "") {
  return "ocio_profile_version: 2\nroles:\n  default: raw\n" + roles +
         "colorspaces:\n  - !<ColorSpace>\n    name: raw\n    isdata: true\n"
         "  - !<ColorSpace>\n    name: light\n    aliases: [sunlight]\n    to_scene_reference: " +
         in_yaml(kLinear) + "\n  - !<ColorSpace>\n    name: foot\n    to_scene_reference: " +
         group("!<ExponentWithLinearTransform> {gamma: 2.4, offset: 0.055}", in_yaml(kSpace)) + "\n";
}

std::shared_ptr<const Colours> opened(const std::string& file, const std::string& linear) {
  auto c = Colours::open(file, linear);
  EXPECT_TRUE(c) << (c ? "" : to_string(c.error()));
  return c ? *c : nullptr;
}

std::shared_ptr<const SpaceTransform> found(const Colours& c, const std::string& name, Way way) {
  auto t = c.find(name, way);
  EXPECT_TRUE(t) << (t ? "" : to_string(t.error()));
  return t ? *t : nullptr;
}

template <class Curve>
Eigen::Vector3d by_hand(const float* v, const Curve& curve) {
  const Eigen::Vector3d bent(curve(v[0]), curve(v[1]), curve(v[2]));
  return matrix(kLinear).inverse() * matrix(kSpace) * bent;
}

template <class Curve>
void expect_by_hand(const Colours& c, const std::string& name, const Curve& curve, float low, float high,
                    double error) {
  const auto read = found(c, name, Way::reading), write = found(c, name, Way::writing);
  std::mt19937 g(3);
  std::uniform_real_distribution<float> any(low, high);
  for (int i = 0; i < 2000; ++i) {
    const float v[4] = {any(g), any(g), any(g), 0.25f};
    float light[4] = {v[0], v[1], v[2], v[3]};
    transform(*read, light, 1, 4);
    const Eigen::Vector3d want = by_hand(v, curve);
    for (int k = 0; k < 3; ++k) ASSERT_NEAR(light[k], want[k], error * want.cwiseAbs().maxCoeff()) << name;
    EXPECT_EQ(light[3], v[3]);
    transform(*write, light, 1, 4);
    for (int k = 0; k < 3; ++k) ASSERT_NEAR(light[k], v[k], 10 * error) << name;
  }
}

TEST(Ocio, CurveAndMatrixAreWhatTheyAreByHand) {
  const auto c = opened(write(folder() + "config.ocio", old_config()), "light");
  expect_by_hand(
      *c, "gamma", [](double v) { return std::pow(v, 2.2); }, 0.05f, 4, 3e-6);
  // What has no curve holds on both sides of 0.
  expect_by_hand(
      *c, "plain", [](double v) { return v; }, -3, 8, 3e-6);
}

// The curve of IEC 61966-2-1 with the knee where it has no step; below it and below 0 it is straight.
TEST(Ocio, FootGoesOnBelowBlack) {
  const auto c = opened(write(folder() + "config.ocio", new_config()), "sunlight");
  const auto curve = [](double v) {
    const double knee = 0.055 / 1.4, at_knee = std::pow((knee + 0.055) / 1.055, 2.4);
    return v > knee ? std::pow((v + 0.055) / 1.055, 2.4) : v * at_knee / knee;
  };
  expect_by_hand(*c, "foot", curve, -0.2f, 3, 3e-6);
}

TEST(Ocio, TableIsDrawnStraightBetweenItsEntries) {
  const std::string dir = folder();
  std::filesystem::create_directories(dir + "luts");
  write(dir + "luts/t.spi1d", "Version 1\nFrom 0.0 1.0\nLength 5\nComponents 1\n{\n0.0\n0.05\n0.2\n0.5\n1.0\n}\n");
  const auto c = opened(write(dir + "config.ocio", old_config()), "light");
  const double entries[] = {0, 0.05, 0.2, 0.5, 1};
  expect_by_hand(
      *c, "table",
      [&](double v) {
        const int i = std::min(static_cast<int>(4 * v), 3);
        return entries[i] + (4 * v - i) * (entries[i + 1] - entries[i]);
      },
      0.f, 1, 3e-6);
}

// What a delivery does to a pixel that nobody touched.
TEST(Ocio, EveryCodeComesBack) {
  const auto c = opened(write(folder() + "config.ocio", new_config()), "light");
  const auto read = found(*c, "foot", Way::reading), write = found(*c, "foot", Way::writing);
  std::mt19937 g(5);
  for (const int last : {255, 65535}) {
    const int count = last == 255 ? 256 : 20000;
    for (int round = 0; round < 50; ++round) {
      std::vector<float> v;
      std::vector<int> code;
      for (int i = 0; i < count; ++i)
        for (int k = 0; k < 3; ++k) {
          // First greys, then one channel at every code beside two that are any.
          const int any = static_cast<int>(g() % static_cast<unsigned>(last + 1)), step = last == 255 ? i : i * 3 + 7;
          code.push_back(round == 0 || k == round % 3 ? step : any);
          v.push_back(static_cast<float>(code.back()) / static_cast<float>(last));
        }
      transform(*read, v.data(), v.size() / 3, 3);
      transform(*write, v.data(), v.size() / 3, 3);
      for (size_t i = 0; i < v.size(); ++i) ASSERT_EQ(std::lround(v[i] * static_cast<float>(last)), code[i]) << last;
      if (last == 65535 && round == 3) break;
    }
  }
}

TEST(Ocio, PiecesAndThreadsMakeNoDifference) {
  const auto c = opened(write(folder() + "config.ocio", old_config()), "light");
  const auto read = found(*c, "gamma", Way::reading);
  std::mt19937 g(9);
  std::vector<float> whole(4 * 3001);
  for (float& v : whole) v = std::uniform_real_distribution<float>(-0.5f, 3)(g);
  const auto given = whole;
  transform_premultiplied(*read, whole.data(), 3001, 4);
  for (size_t piece : {1, 7, 300}) {
    auto pieces = given;
    for (size_t at = 0; at < 3001; at += piece)
      transform_premultiplied(*read, &pieces[4 * at], std::min(piece, 3001 - at), 4);
    EXPECT_EQ(pieces, whole) << piece;
  }
  std::vector<std::vector<float>> all(4, given);
  std::vector<std::thread> threads;
  for (auto& one : all)
    threads.emplace_back(
        [&one, &c] { transform_premultiplied(**c->find("gamma", Way::reading), one.data(), 3001, 4); });
  for (auto& t : threads) t.join();
  for (const auto& one : all) EXPECT_EQ(one, whole);
}

// The same colour half covered is half as much light; under no cover there is none. Alpha is not touched.
TEST(Ocio, ColourIsChangedWithoutItsAlpha) {
  const auto c = opened(write(folder() + "config.ocio", new_config()), "light");
  const auto read = found(*c, "foot", Way::reading);
  float solid[4] = {0.5f, 0.25f, 0.75f, 1}, half[4] = {0.25f, 0.125f, 0.375f, 0.5f}, none[4] = {0.3f, 0.2f, 0.1f, 0};
  for (float* p : {solid, half, none}) transform_premultiplied(*read, p, 1, 4);
  for (int k = 0; k < 3; ++k) {
    EXPECT_EQ(half[k], 0.5f * solid[k]);
    EXPECT_EQ(none[k], 0);
  }
  EXPECT_EQ(half[3], 0.5f);
}

TEST(Ocio, IdentityTellsWhatChanged) {
  const std::string dir = folder();
  std::filesystem::create_directories(dir + "luts");
  const std::string table = "Version 1\nFrom 0.0 1.0\nLength 3\nComponents 1\n{\n0.0\n0.2\n1.0\n}\n";
  const auto identity = [&](const std::string& config, const std::string& name, const std::string& lut, Way way) {
    write(dir + "luts/t.spi1d", lut);
    return found(*opened(write(dir + "config.ocio", config), "light"), name, way)->identity();
  };
  const std::string plain = identity(old_config(), "plain", table, Way::reading);
  const std::string tabled = identity(old_config(), "table", table, Way::reading);
  EXPECT_EQ(identity(old_config(), "plain", table, Way::reading), plain);
  EXPECT_NE(identity(old_config(), "plain", table, Way::writing), plain);
  EXPECT_NE(tabled, plain);
  std::string other_table = table;
  other_table.replace(table.find("0.2"), 3, "0.3");
  EXPECT_EQ(identity(old_config(), "plain", other_table, Way::reading), plain);
  EXPECT_NE(identity(old_config(), "table", other_table, Way::reading), tabled);
  std::string other = old_config();
  other.replace(other.find("0.85"), 4, "0.850001");
  EXPECT_EQ(identity(other, "plain", table, Way::reading), plain);  // That was another space's number.
  other = old_config();
  other.replace(other.rfind("0.85"), 4, "0.850001");
  EXPECT_NE(identity(other, "table", table, Way::reading), tabled);
}

TEST(Ocio, NamesWhatOneMayWrite) {
  const auto c = opened(write(folder() + "config.ocio", new_config("  plate: foot\n")), "light");
  EXPECT_EQ(c->names(), (std::vector<std::string>{"light", "foot"}));
  EXPECT_EQ(c->aliases(), (std::vector<std::string>{"sunlight", "default", "plate"}));
  for (const char* name : {"foot", "FOOT", "plate"}) EXPECT_TRUE(c->find(name, Way::reading)) << name;
  for (const char* name : {"", "food", "srgb", "raw"}) EXPECT_FALSE(c->find(name, Way::reading)) << name;
  EXPECT_EQ(found(*c, "plate", Way::reading)->identity(), found(*c, "foot", Way::reading)->identity());
}

std::string told(const Colours& c, const std::string& name, Way way) {
  const auto t = c.find(name, way);
  return t ? "" : to_string(t.error());
}

TEST(Ocio, SaysWhatCannotBeUsed) {
  const std::string dir = folder(), file = write(dir + "config.ocio", old_config());
  const auto c = opened(file, "light"), unknown = opened(file, "");
  EXPECT_EQ(told(*c, "fog", Way::reading), "is \"fog\", which is no colour space of config.ocio\n");
  EXPECT_EQ(
      told(*c, "raw", Way::reading),
      "is \"raw\", which config.ocio keeps for data, not for colour; name a space of colour; linear reads numbers "
      "as they are\n");
  EXPECT_EQ(told(*unknown, "gamma", Way::writing),
            "is \"gamma\", but config.ocio does not say where linear Rec.709 light lies: it has no role "
            "aces_interchange; name its space of that: shot = { ocio_linear = \"...\" }\n");
  const std::string gone = told(*c, "gone", Way::reading);
  EXPECT_TRUE(gone.starts_with(file + ": a file that \"gone\" needs is not there (The specified file reference "
                                      "'gone.spi1d' could not be located. The following attempts were made: "))
      << gone;
  EXPECT_TRUE(gone.ends_with("); put it where the configuration looks for it\n")) << gone;
  EXPECT_EQ(told(*c, "flat", Way::reading), "");
  EXPECT_EQ(told(*c, "flat", Way::writing),
            file +
                ": \"flat\" cannot be written (Singular Matrix can't be inverted); name another colour space, or "
                "mend the configuration\n");
  const auto linear = [&](const char* name) {
    const auto open = Colours::open(file, name);
    return open ? "" : to_string(open.error());
  };
  EXPECT_EQ(linear("fog"),
            "shot.ocio_linear is \"fog\", which is no colour space of config.ocio; name its space of linear light of "
            "Rec.709's primaries\n");
  EXPECT_EQ(
      linear("raw"),
      "shot.ocio_linear is \"raw\", which is no space for colour of config.ocio; name its space of linear light of "
      "Rec.709's primaries\n");
}

TEST(Ocio, ABrokenTableIsNamed) {
  const std::string dir = folder();
  std::filesystem::create_directories(dir + "luts");
  write(dir + "luts/t.spi1d", "Version 1\nFrom 0.0 1.0\nLength 5\nComponents 1\n{\n0.0\n");
  const std::string file = write(dir + "config.ocio", old_config());
  const std::string t = told(*opened(file, "light"), "table", Way::reading);
  EXPECT_TRUE(t.starts_with(file + ": \"table\" cannot be read (")) << t;
  EXPECT_EQ(std::count(t.begin(), t.end(), '\n'), 1) << t;
}

// What a disk or an editor can leave behind: a problem in one line, or a smaller configuration; never a crash.
TEST(Ocio, CutOffAndGarbledFilesAreToldOf) {
  const std::string dir = folder(), whole = old_config();
  const auto open = [&](const std::string& text) {
    const auto c = Colours::open(write(dir + "c.ocio", text), "light");
    const std::string said = c ? "" : to_string(c.error());
    EXPECT_LE(std::count(said.begin(), said.end(), '\n'), 1) << said;
    if (c)
      for (const char* name : {"gamma", "plain", "table", "gone", "flat"}) told(**c, name, Way::writing);
    return said;
  };
  for (size_t length = 0; length < whole.size(); length += 13) open(whole.substr(0, length));
  std::mt19937 g(11);
  for (int i = 0; i < 300; ++i) {
    std::string text = whole;
    for (int k = 0; k < 3; ++k) text[g() % text.size()] = static_cast<char>(g());
    open(text);
  }
  EXPECT_TRUE(open("\x89PNG\r\n\x1a\n").starts_with(dir + "c.ocio: this is no configuration of OpenColorIO ("));
  const auto none = Colours::open(dir + "none.ocio", "");
  ASSERT_FALSE(none);
  EXPECT_EQ(to_string(none.error()),
            dir + "none.ocio: there is no such configuration of OpenColorIO; name the file that ends in .ocio\n");
  EXPECT_FALSE(Colours::open(dir, ""));
}

}  // namespace pw::ocio_test
