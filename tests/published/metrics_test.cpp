// PSNR and SSIM against scikit-image (Debian package python3-skimage), and against constants derived from the formulas
// of Z. Wang, A. C. Bovik, H. R. Sheikh, E. P. Simoncelli, IEEE Trans. Image Processing 13(4), 2004.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <numeric>
#include <random>

#include "comp/colour/difference.h"

namespace pw::metrics_test {

namespace fs = std::filesystem;

// A .npy file of version 1.0 (NEP 1): magic, length of the header, header as a Python dictionary padded to 64 bytes.
void write_npy(const fs::path& path, const Picture& p, bool drop_axis) {
  const Rect& r = p.window();
  std::string shape = fmt::format("{}, {}", r.height(), r.width());
  if (!drop_axis) shape += fmt::format(", {}", p.channels());
  std::string header = fmt::format("{{'descr': '<f4', 'fortran_order': False, 'shape': ({}), }}", shape);
  while ((10 + header.size() + 1) % 64 != 0) header += ' ';
  header += '\n';
  std::ofstream out(path, std::ios::binary);
  out.write("\x93NUMPY\x01\x00", 8);
  out.put(static_cast<char>(header.size() & 255)).put(static_cast<char>(header.size() >> 8));
  out << header;
  for (int y = r.y0; y < r.y1; ++y)
    out.write(reinterpret_cast<const char*>(p.row(y)),
              static_cast<std::streamsize>(sizeof(float)) * r.width() * p.channels());
}

// Waves of several scales, so that windows differ, with noise of strength `sigma` and a gain and offset.
Picture pattern(const Rect& r, int channels, double sigma, double gain, double offset, unsigned seed) {
  std::mt19937 g(seed);
  std::normal_distribution<double> n(0, sigma > 0 ? sigma : 1);
  Canvas c(r, channels);
  for (int y = 0; y < r.height(); ++y)
    for (int x = 0; x < r.width(); ++x)
      for (int k = 0; k < channels; ++k) {
        const double v =
            0.5 + 0.2 * std::sin(0.11 * x + k) + 0.15 * std::sin(0.53 * y + 0.31 * x) + (x / 16 + y / 16) % 2 * 0.1;
        c.at(x, y)[k] = static_cast<float>(std::clamp(gain * v + offset + (sigma > 0 ? n(g) : 0), 0.0, 1.0));
      }
  return std::move(c).finish();
}

struct Reference {
  double psnr = 0, ssim = 0, inside = 0;
};

TEST(PublishedMetrics, AgreeWithScikitImage) {
  const char* python = "/usr/bin/python3";
  if (std::system(fmt::format("{} -c 'import skimage.metrics' 2>/dev/null", python).c_str()) != 0)
    GTEST_SKIP() << "python3-skimage is not installed";
  const fs::path folder = fs::path(PW_BINARY_DIR) / "published_metrics";
  fs::create_directories(folder);
  struct Case {
    int width, height, channels;
    double sigma, gain, offset;
  };
  const std::array cases = {Case{97, 64, 1, 0.02, 1, 0}, Case{64, 81, 3, 0.1, 1, 0}, Case{50, 50, 3, 0, 0.8, 0.05},
                            Case{11, 11, 1, 0.05, 1, 0.02}, Case{120, 33, 3, 0.3, 0.5, 0.2}};
  std::string command = fmt::format("{} {}/tests/published/metrics_reference.py", python, PW_SOURCE_DIR);
  std::vector<Difference> got, got_inside;
  for (size_t i = 0; i < cases.size(); ++i) {
    const Case& c = cases[i];
    const Rect r = Rect::sized(c.width, c.height);
    const Picture a = pattern(r, c.channels, 0, 1, 0, 1);
    const Picture b = pattern(r, c.channels, c.sigma, c.gain, c.offset, 100 + static_cast<unsigned>(i));
    Canvas disc = Canvas::clear(r, 1);
    for (int y = 0; y < c.height; ++y)
      for (int x = 0; x < c.width; ++x)
        *disc.at(x, y) = std::hypot(x - 0.45 * c.width, y - 0.55 * c.height) < 0.3 * c.height ? 1.f : 0.f;
    const Picture matte = std::move(disc).finish();
    got.push_back(*difference(a, b, r));
    got_inside.push_back(*difference(a, b, r, 1, &matte));
    const std::array<const Picture*, 3> files = {&a, &b, &matte};
    for (size_t k = 0; k < files.size(); ++k) {
      const fs::path file = folder / fmt::format("{}{}.npy", i, "abm"[k]);
      write_npy(file, *files[k], k == 2);
      command += fmt::format(" {}", file.string());
    }
  }
  FILE* pipe = ::popen(command.c_str(), "r");
  ASSERT_TRUE(pipe);
  for (size_t i = 0; i < cases.size(); ++i) {
    Reference want;
    ASSERT_EQ(std::fscanf(pipe, "%lf %lf %lf", &want.psnr, &want.ssim, &want.inside), 3) << i;
    EXPECT_NEAR(got[i].psnr, want.psnr, 1e-6) << i;
    EXPECT_NEAR(*got[i].ssim, want.ssim, 1e-9) << i;
    EXPECT_NEAR(*got_inside[i].ssim, want.inside, 1e-9) << i;
  }
  EXPECT_EQ(::pclose(pipe), 0);
}

Difference constants(float a, float b, double peak) {
  const Rect r = Rect::sized(16, 16);
  return *difference(Canvas::filled(r, 1, &a).finish(), Canvas::filled(r, 1, &b).finish(), r, peak);
}

// Derived: PSNR = 10 log10(peak^2 / MSE).
TEST(PublishedMetrics, PsnrOfStatedErrors) {
  EXPECT_NEAR(constants(100, 101, 255).psnr, 48.130804, 5e-7);                           // MSE 1.
  EXPECT_NEAR(constants(0, std::sqrt(10.f), 255).psnr, 38.130804, 1e-6);                 // MSE 10.
  EXPECT_NEAR(constants(0, static_cast<float>(std::sqrt(65.025)), 255).psnr, 30, 1e-6);  // MSE 65.025.
  EXPECT_NEAR(constants(100, 110, 255).psnr, 28.130804, 5e-7);                           // MSE 100.
  EXPECT_NEAR(constants(0, static_cast<float>(std::sqrt(650.25)), 255).psnr, 20, 1e-6);  // MSE 650.25.
  EXPECT_NEAR(constants(0, 0.001f, 1).psnr, 60, 1e-6);
  EXPECT_NEAR(constants(0, 0.01f, 1).psnr, 40, 1e-6);
  EXPECT_NEAR(constants(0, 0.1f, 1).psnr, 20, 1e-6);
  EXPECT_NEAR(constants(0, 0.5f, 1).psnr, 6.0206, 5e-6);
}

// Derived: between constant pictures SSIM is (2ab + C1) / (a^2 + b^2 + C1), C1 = (0.01 peak)^2.
TEST(PublishedMetrics, SsimOfConstantPictures) {
  EXPECT_NEAR(*constants(100, 110, 255).ssim, 0.9954764, 5e-8);
  EXPECT_NEAR(*constants(0, 255, 255).ssim, 9.9990e-5, 5e-10);
  EXPECT_NEAR(*constants(0.5f, 0.6f, 1).ssim, 0.9836092, 5e-8);
  EXPECT_NEAR(*constants(0.3f, 0.3f, 1).ssim, 1, 1e-12);
}

}  // namespace pw::metrics_test
