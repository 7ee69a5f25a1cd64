#include "comp/media/yuv.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace pw::yuv_test {

// A frame of samples that the test owns.
struct Frame {
  Planes planes;
  std::vector<unsigned char> bytes[4];

  Frame(int width, int height, int bits, int share_x, int share_y, bool alpha = false) {
    planes = {.width = width, .height = height, .share_x = share_x, .share_y = share_y};
    for (int c = 0; c < (alpha ? 4 : 3); ++c) {
      const bool shared = c == 1 || c == 2;
      const int w = shared ? (width + (1 << share_x) - 1) >> share_x : width;
      const int h = shared ? (height + (1 << share_y) - 1) >> share_y : height;
      const int step = bits > 8 ? 2 : 1;
      bytes[c].resize(static_cast<size_t>(w) * h * step);
      Component& to = c == 3 ? planes.alpha : planes.colour[c];
      to = {bytes[c].data(), int64_t{w} * step, step, bits, 0, false};
    }
  }
  int code(int c, int x, int y) const {
    const Component& p = c == 3 ? planes.alpha : planes.colour[c];
    const unsigned char* at = p.data + y * p.stride + x * p.step;
    return p.bits > 8 ? at[0] | at[1] << 8 : at[0];
  }
};

constexpr YuvRules kAll[] = {{Matrix::rec709, Range::narrow, kLeft},   {Matrix::rec601, Range::narrow, kCentre},
                             {Matrix::rec2020, Range::full, kTopLeft}, {Matrix::smpte240, Range::full, kLeft},
                             {Matrix::fcc, Range::narrow, kLeft},      {Matrix::none, Range::full, kLeft}};

// Codes of pure colours as BT.709-6 and BT.601-7 give them for 8 bits (their section on quantisation), and ten bits as
// the same formulas do.
TEST(Yuv, CodesOfPureColours) {
  struct Row {
    Matrix m;
    int bits;
    float rgb[3];
    int codes[3];
  };
  constexpr Row rows[] = {
      {Matrix::rec709, 8, {1, 0, 0}, {63, 102, 240}},       {Matrix::rec709, 8, {0, 1, 0}, {173, 42, 26}},
      {Matrix::rec709, 8, {0, 0, 1}, {32, 240, 118}},       {Matrix::rec601, 8, {1, 0, 0}, {81, 90, 240}},
      {Matrix::rec601, 8, {0, 1, 0}, {145, 54, 34}},        {Matrix::rec601, 8, {0, 0, 1}, {41, 240, 110}},
      {Matrix::rec709, 10, {1, 1, 1}, {940, 512, 512}},     {Matrix::rec709, 10, {0, 0, 0}, {64, 512, 512}},
      {Matrix::rec709, 10, {1, 0, 0}, {250, 409, 960}},     {Matrix::rec2020, 10, {1, 0, 0}, {294, 387, 960}},
      {Matrix::rec2020, 12, {1, 1, 1}, {3760, 2048, 2048}},
  };
  for (const Row& r : rows) {
    Frame f(1, 1, r.bits, 0, 0);
    PlanesFromRows(f.planes, {r.m, Range::narrow, kLeft}).row(0, r.rgb, 3);
    for (int c = 0; c < 3; ++c) EXPECT_EQ(f.code(c, 0, 0), r.codes[c]) << name(r.m) << r.bits << " " << c;
    float back[3];
    RowsFromPlanes(f.planes, {r.m, Range::narrow, kLeft}).row(0, back);
    for (int c = 0; c < 3; ++c) EXPECT_NEAR(back[c], r.rgb[c], 1.2 / (219 << (r.bits - 8)));
  }
}

TEST(Yuv, EveryCodeComesBack) {
  for (const YuvRules& rules : kAll)
    for (const int bits : {8, 10, 12, 16}) {
      SCOPED_TRACE(std::string(name(rules.matrix)) + " " + std::to_string(bits));
      Frame f(64, 4, bits, 0, 0, true), g(64, 4, bits, 0, 0, true);
      std::mt19937 random(5);
      for (auto& plane : f.bytes)
        for (size_t i = 0; i < plane.size(); ++i)
          plane[i] = static_cast<unsigned char>(bits > 8 && i % 2 ? random() % (1u << (bits - 8)) : random());
      RowsFromPlanes from(f.planes, rules);
      PlanesFromRows to(g.planes, rules);
      std::vector<float> row(64 * 4);
      for (int y = 0; y < 4; ++y) from.row(y, row.data()), to.row(y, row.data(), 4);
      int worst = 0;
      for (int c = 0; c < 4; ++c)
        for (int y = 0; y < 4; ++y)
          for (int x = 0; x < 64; ++x) worst = std::max(worst, std::abs(f.code(c, x, y) - g.code(c, x, y)));
      EXPECT_EQ(worst, 0);
    }
}

// A colour difference that is a slope over the picture is the same slope wherever its samples were taken.
TEST(Yuv, DifferencesStandWhereTheirSamplesLie) {
  for (const Siting& siting : {kLeft, kCentre, kTopLeft, Siting{0.5, 0}, Siting{0, 1}, Siting{0.5, 1}})
    for (const int share_x : {1, 0})
      for (const int share_y : {1, 0}) {
        SCOPED_TRACE(std::string(name(siting)) + std::to_string(share_x) + std::to_string(share_y));
        Frame f(32, 24, 16, share_x, share_y);
        const int w = 32 >> share_x, h = 24 >> share_y;
        for (int y = 0; y < h; ++y)
          for (int x = 0; x < w; ++x) {
            // At its true place: 600 a pixel to the right, 900 a pixel down.
            const double px = share_x ? 2 * x + siting.x : x, py = share_y ? 2 * y + siting.y : y;
            const int v = static_cast<int>(std::lround(20000 + 600 * px + 900 * py));
            f.bytes[2][2 * (y * w + x)] = static_cast<unsigned char>(v);
            f.bytes[2][2 * (y * w + x) + 1] = static_cast<unsigned char>(v >> 8);
          }
        RowsFromPlanes rows(f.planes, {Matrix::rec709, Range::full, siting});
        std::vector<float> row(32 * 3);
        for (int y = 2; y < 22; ++y) {
          rows.row(y, row.data());
          for (int x = 2; x < 30; ++x)  // Cr makes R' by 2 (1 - Kr) Cr; luma is 0.
            EXPECT_NEAR(row[3 * x] / 1.5748, (20000 + 600 * x + 900 * y - 32768) / 65535.0, 1.5 / 65535)
                << x << "," << y;
        }
      }
}

TEST(Yuv, AFlatColourIsFlatForEverySamplingAndOddSize) {
  const float rgb[3] = {0.2f, 0.5f, 0.7f};
  for (const int share_x : {0, 1, 2})
    for (const int share_y : {0, 1}) {
      Frame f(13, 7, 10, share_x, share_y);
      PlanesFromRows to(f.planes, {});
      std::vector<float> row;
      for (int x = 0; x < 13; ++x) row.insert(row.end(), rgb, rgb + 3);
      for (int y = 0; y < 7; ++y) to.row(y, row.data(), 3);
      RowsFromPlanes from(f.planes, {});
      for (int y = 0; y < 7; ++y) {
        from.row(y, row.data());
        for (int i = 0; i < 39; ++i) EXPECT_NEAR(row[i], rgb[i % 3], 1.2 / 876) << i << " " << y;
      }
    }
}

// Codes are the nearest ones, as BT.709-6 has them, but where the colour they make is more than a code off.
TEST(Yuv, NoColourOfTenBitsIsMoreThanACodeOff) {
  constexpr int kColours = 200000;
  Frame f(kColours, 1, 10, 0, 0);
  std::mt19937 g(11);
  std::uniform_real_distribution<float> any(0, 1);
  std::vector<float> in(3 * kColours), out(3 * kColours);
  for (float& v : in) v = any(g);
  PlanesFromRows(f.planes, {}).row(0, in.data(), 3);
  RowsFromPlanes(f.planes, {}).row(0, out.data());
  double worst = 0, worst_nearest = 0;
  int moved = 0, needless = 0;
  for (int x = 0; x < kColours; ++x) {
    const float* p = &in[3 * static_cast<size_t>(x)];
    double off = 0;
    for (int c = 0; c < 3; ++c) off = std::max(off, 876.0 * std::abs(out[3 * static_cast<size_t>(x) + c] - p[c]));
    worst = std::max(worst, off);
    const double luma = 0.2126 * p[0] + 0.7152 * p[1] + 0.0722 * p[2];
    const long y = std::lround(876 * luma), cb = std::lround(896 * (p[2] - luma) / 1.8556);
    const long cr = std::lround(896 * (p[0] - luma) / 1.5748);
    const double r = y + 876 * 1.5748 * cr / 896.0, b = y + 876 * 1.8556 * cb / 896.0;
    const double green = (y - 0.2126 * r - 0.0722 * b) / 0.7152;
    const double nearest = std::max({std::abs(r - 876 * p[0]), std::abs(green - 876 * p[1]), std::abs(b - 876 * p[2])});
    worst_nearest = std::max(worst_nearest, nearest);
    const bool is_nearest = f.code(0, x, 0) == 64 + y && f.code(1, x, 0) == 512 + cb && f.code(2, x, 0) == 512 + cr;
    moved += !is_nearest;
    needless += !is_nearest && nearest < 0.999;
  }
  EXPECT_LE(worst, 1.001);
  EXPECT_GT(worst_nearest, 1.35);
  EXPECT_GT(moved, 1000);
  EXPECT_LE(needless, kColours / 20000);  // Half-way between two codes floats and doubles may part.
  fmt::print("worst colour: {:.3f} codes, {:.3f} with each component rounded alone; {:.1f} % of colours moved\n", worst,
             worst_nearest, 100.0 * moved / kColours);
}

TEST(Yuv, OddNumbersAreClamped) {
  Frame f(3, 1, 8, 0, 0);
  const float odd[9] = {NAN, NAN, NAN, 1e30f, 1e30f, 1e30f, -5, -5, -5};
  PlanesFromRows(f.planes, {}).row(0, odd, 3);
  EXPECT_EQ(f.code(0, 0, 0), 0);
  EXPECT_EQ(f.code(0, 1, 0), 255);
  EXPECT_EQ(f.code(0, 2, 0), 0);
}

}  // namespace pw::yuv_test
