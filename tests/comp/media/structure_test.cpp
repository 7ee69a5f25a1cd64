#include "comp/media/structure.h"

#include <gtest/gtest.h>

#include "comp/media/still.h"
#include "samples.h"

namespace pw::structure_test {

using Bytes = std::vector<unsigned char>;

std::string problem(FileType t, const Bytes& b) {
  const auto p = structure_problem(t, b);
  return p ? to_string(*p) : "";
}

void put(Bytes& b, size_t at, uint32_t v, bool big_endian) {
  for (size_t i = 0; i < 4; ++i) b[at + i] = static_cast<unsigned char>(v >> 8 * (big_endian ? 3 - i : i));
}

// Bit by bit, as annex D of the PNG standard defines it.
uint32_t plain_crc(const unsigned char* p, size_t n) {
  uint32_t c = 0xffffffffu;
  for (size_t i = 0; i < n; ++i) {
    c ^= p[i];
    for (int k = 0; k < 8; ++k) c = c & 1 ? c >> 1 ^ 0xedb88320u : c >> 1;
  }
  return ~c;
}

Bytes sample(const std::string& path, OIIO::TypeDesc type, int w = 20, int h = 10) {
  OIIO::ImageSpec s(w, h, 3, type);
  std::vector<unsigned char> v(static_cast<size_t>(w) * h * 3 * type.size(), 60);
  auto out = OIIO::ImageOutput::create(path);
  out->open(path, s);
  out->write_image(type, v.data());
  out->close();
  return samples::bytes_of(path);
}

struct Sample {
  FileType type;
  const char* name;
  OIIO::TypeDesc stored;
};
const Sample kSamples[] = {{FileType::exr, "a.exr", OIIO::TypeDesc::HALF},
                           {FileType::png, "a.png", OIIO::TypeDesc::UINT8},
                           {FileType::tiff, "a.tif", OIIO::TypeDesc::UINT8},
                           {FileType::dpx, "a.dpx", OIIO::TypeDesc::UINT8},
                           {FileType::jpeg, "a.jpg", OIIO::TypeDesc::UINT8}};

TEST(Structure, OfWholeFilesIsGood) {
  const std::string dir = samples::folder();
  for (const Sample& s : kSamples) EXPECT_EQ(problem(s.type, sample(dir + s.name, s.stored)), "") << s.name;
}

TEST(Structure, EveryShorteningIsBornWithoutReadingOutside) {
  const std::string dir = samples::folder();
  for (const Sample& s : kSamples) {
    const Bytes whole = sample(dir + s.name, s.stored);
    for (size_t n = 8; n < whole.size(); ++n) {
      const Bytes cut(whole.begin(),
                      whole.begin() + static_cast<ptrdiff_t>(n));  // Its own block: a sanitizer sees its end.
      const std::string p = problem(s.type, cut);
      EXPECT_TRUE(p.empty() || p == "the file is cut off; copy or render it again") << s.name << n << p;
      if (s.type == FileType::png || s.type == FileType::jpeg) {
        EXPECT_FALSE(p.empty()) << s.name << n;
      }
    }
  }
}

TEST(Structure, PngChecksumsAreHeldTo) {
  const std::string dir = samples::folder();
  const Bytes whole = sample(dir + "a.png", OIIO::TypeDesc::UINT8);
  for (size_t i = 8 + 8; i < whole.size(); i += 5) {
    Bytes b = whole;
    b[i] ^= 0x10;
    EXPECT_NE(problem(FileType::png, b), "") << i;
  }
}

TEST(Structure, AbsurdSizesAreRefusedBeforeMemoryIsTaken) {
  const std::string dir = samples::folder();
  const std::string want =
      "the picture is 1000000 x 1000000 pixels; sides up to 65536 and 268 million pixels altogether are handled";
  Bytes png = sample(dir + "a.png", OIIO::TypeDesc::UINT8);
  put(png, 16, 1000000, true);
  put(png, 20, 1000000, true);
  put(png, 29, plain_crc(png.data() + 12, 17), true);
  EXPECT_EQ(problem(FileType::png, png), want);
  samples::write_bytes(dir + "absurd.png", png);
  EXPECT_EQ(to_string(read_still(dir + "absurd.png").error()[0]), dir + "absurd.png: " + want);

  Bytes exr = sample(dir + "a.exr", OIIO::TypeDesc::HALF);
  const std::string mark("dataWindow\0box2i\0", 17);
  const auto at = std::search(exr.begin(), exr.end(), mark.begin(), mark.end()) - exr.begin() + 17 + 4;
  put(exr, static_cast<size_t>(at) + 8, 999999, false);
  put(exr, static_cast<size_t>(at) + 12, 999999, false);
  EXPECT_EQ(problem(FileType::exr, exr), want);
  // The whole range of the four numbers: nothing overflows.
  put(exr, static_cast<size_t>(at), 0x80000000u, false);
  put(exr, static_cast<size_t>(at) + 8, 0x7fffffffu, false);
  EXPECT_EQ(
      problem(FileType::exr, exr),
      "the picture is 4294967296 x 1000000 pixels; sides up to 65536 and 268 million pixels altogether are handled");
  put(exr, static_cast<size_t>(at), 100000000, false);
  put(exr, static_cast<size_t>(at) + 8, 100000019, false);
  put(exr, static_cast<size_t>(at) + 12, 9, false);
  EXPECT_EQ(problem(FileType::exr, exr), "its pixels lie at 100000000, 0, far outside any picture; render it again");

  Bytes dpx = sample(dir + "a.dpx", OIIO::TypeDesc::UINT8);
  const bool big = dpx[0] == 'S';
  put(dpx, 772, 1000000, big);
  put(dpx, 776, 1000000, big);
  EXPECT_EQ(problem(FileType::dpx, dpx), want);

  Bytes tiff = sample(dir + "a.tif", OIIO::TypeDesc::UINT8);
  for (size_t i = 8; i + 12 < tiff.size(); ++i) {  // Width and length become 32-bit numbers.
    if (tiff[i + 1] != 1 || tiff[i] > 1 || tiff[i + 2] > 4 || tiff[i + 4] != 1) continue;
    tiff[i + 2] = 4;
    put(tiff, i + 8, 1000000, false);
  }
  EXPECT_EQ(problem(FileType::tiff, tiff), want);
}

TEST(Structure, TilesThatNeedMoreTableThanThereIsFileAreRefused) {
  const std::string dir = samples::folder();
  OIIO::ImageSpec s(64, 64, 3, OIIO::TypeDesc::HALF);
  s.tile_width = s.tile_height = 32;
  samples::write_file(dir + "a.exr", s, std::vector<uint16_t>(64 * 64 * 3));
  Bytes exr = samples::bytes_of(dir + "a.exr");
  EXPECT_EQ(problem(FileType::exr, exr), "");
  const std::string mark("tiles\0tiledesc\0", 15);
  const auto at =
      static_cast<size_t>(std::search(exr.begin(), exr.end(), mark.begin(), mark.end()) - exr.begin()) + 15 + 4;
  put(exr, at, 1, false);
  put(exr, at + 4, 1, false);
  EXPECT_EQ(problem(FileType::exr, exr), "the file is cut off; copy or render it again");
  put(exr, at, 0, false);
  EXPECT_EQ(problem(FileType::exr, exr), "the file is damaged; copy or render it again");
}

TEST(Structure, DpxThatIsNotHandledIsNamed) {
  const std::string dir = samples::folder();
  const Bytes whole = sample(dir + "a.dpx", OIIO::TypeDesc::UINT8);
  const bool big = whole[0] == 'S';
  const auto with = [&](size_t at, int size, unsigned v) {
    Bytes b = whole;
    for (int i = 0; i < size; ++i) b[at + i] = static_cast<unsigned char>(v >> 8 * (big ? size - 1 - i : i));
    return problem(FileType::dpx, b);
  };
  const std::string convert = "; convert it to EXR or PNG";
  EXPECT_EQ(with(770, 2, 3), "the DPX file has 3 image elements; one is handled" + convert);
  EXPECT_EQ(with(800, 1, 100), "the DPX file's components (descriptor 100) are not RGB, RGBA or one channel" + convert);
  EXPECT_EQ(with(803, 1, 32), "the DPX file has 32 bits a component; 8, 10, 12 and 16 are handled" + convert);
  EXPECT_EQ(with(806, 2, 1), "the DPX file is run-length coded" + convert);
  EXPECT_EQ(with(804, 2, 9), "the file is damaged; copy or render it again");
  EXPECT_EQ(with(32, 4, 0x58504453), "the file is cut off; copy or render it again");  // Bytes of the user's own.
  EXPECT_EQ(with(772, 4, 0), "the picture has no pixels (0 x 10); render it again");
}

}  // namespace pw::structure_test
