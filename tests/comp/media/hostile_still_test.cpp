// Files that lie: damaged and shortened files of every format give a picture or a problem, never a crash, and never
// more memory than the stated limits.
#include <gtest/gtest.h>
#include <sys/resource.h>

#include <random>

#include "comp/media/still.h"
#include "samples.h"

namespace pw::hostile_still_test {

using Bytes = std::vector<unsigned char>;

Bytes valid(const std::string& path, const char* compression, int tile) {
  const bool exr = path.ends_with("exr");
  OIIO::ImageSpec s(48, 32, 3, exr ? OIIO::TypeDesc::HALF : OIIO::TypeDesc::UINT8);
  if (*compression) s.attribute("compression", compression);
  s.tile_width = s.tile_height = tile;
  if (exr)
    samples::write_file(path, s, std::vector<uint16_t>(48 * 32 * 3, 0x3555));
  else
    samples::write_file(path, s, samples::random_values<unsigned char>(48 * 32 * 3, 6));
  return samples::bytes_of(path);
}

// A tenth of the changes cut the end off; the others set, flip or repeat a few bytes, mostly in the header.
Bytes changed(const Bytes& original, std::mt19937& g) {
  Bytes b = original;
  if (g() % 10 == 0) b.resize(1 + g() % b.size());
  const size_t reach = g() % 3 ? std::min<size_t>(b.size(), 2048) : b.size();
  for (unsigned n = 1 + g() % 4; n > 0; --n) {
    const size_t at = g() % reach;
    switch (g() % 4) {
      case 0:
        b[at] = static_cast<unsigned char>(g());
        break;
      case 1:
        b[at] ^= static_cast<unsigned char>(1u << g() % 8);
        break;
      case 2:
        b[at] = g() % 2 ? 0xff : 0;
        break;
      default:
        std::copy_n(b.begin(), std::min<size_t>(8, b.size() - at), b.begin() + static_cast<ptrdiff_t>(at));
    }
  }
  return b;
}

class HostileStill : public testing::TestWithParam<std::tuple<const char*, const char*, int>> {};

TEST_P(HostileStill, GivesAPictureOrAProblem) {
  const auto& [name, compression, tile] = GetParam();
  const std::string file = samples::folder() + name;
  const Bytes original = valid(file, compression, tile);
  ASSERT_TRUE(read_still(file));
  std::mt19937 g(7);
  int refused = 0;
  for (int i = 0; i < 400; ++i) {
    samples::write_bytes(file, changed(original, g));
    const auto r = read_still(file);
    if (r) {
      EXPECT_LE(r->picture.window().area(), int64_t{1} << 28);
      continue;
    }
    ++refused;
    ASSERT_EQ(r.error().size(), 1u);
    EXPECT_EQ(r.error()[0].file, file);
    EXPECT_FALSE(r.error()[0].what.empty());
  }
  EXPECT_GT(refused, 0);
  rusage use{};
  ::getrusage(RUSAGE_SELF, &use);
  EXPECT_LT(use.ru_maxrss, 4 << 20);  // KiB.
}

INSTANTIATE_TEST_SUITE_P(Formats, HostileStill,
                         testing::Values(std::tuple{"a.png", "", 0}, std::tuple{"a.jpg", "", 0},
                                         std::tuple{"a.dpx", "", 0}, std::tuple{"a.tif", "none", 0},
                                         std::tuple{"a.tif", "zip", 0}, std::tuple{"a.tif", "lzw", 0},
                                         std::tuple{"a.tif", "zip", 16}, std::tuple{"a.exr", "none", 0},
                                         std::tuple{"a.exr", "zip", 0}, std::tuple{"a.exr", "piz", 0},
                                         std::tuple{"a.exr", "rle", 16}, std::tuple{"a.exr", "dwaa", 0},
                                         std::tuple{"a.exr", "b44", 16}, std::tuple{"a.exr", "pxr24", 0}));

TEST(HostileStill, NoiseBehindAGoodMarkIsRefused) {
  const std::string file = samples::folder() + "a";
  const std::vector<std::string> marks = {{"\x76\x2f\x31\x01\x02\0\0\0", 8},
                                          {"\x89PNG\r\n\x1a\n", 8},
                                          {"II*\0\x08\0\0\0", 8},
                                          {"MM\0*\0\0\0\x08", 8},
                                          {"SDPX", 4},
                                          {"XPDS", 4},
                                          {"\xff\xd8\xff\xe0", 4}};
  unsigned seed = 0;
  for (const std::string& mark : marks)
    for (size_t size : {1, 10, 100, 3000, 20000})
      for (int k = 0; k < 10; ++k) {
        Bytes b = samples::random_values<unsigned char>(size, ++seed);
        b.insert(b.begin(), mark.begin(), mark.end());
        samples::write_bytes(file, b);
        EXPECT_FALSE(read_still(file));
      }
}

}  // namespace pw::hostile_still_test
