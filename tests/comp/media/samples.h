// Pictures and files for the tests of this room. Files are written by OpenImageIO itself, not by the code under test.
#pragma once
#include <OpenImageIO/imageio.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <random>
#include <string>
#include <vector>

#include "base/picture.h"
#include "tests/folder.h"

namespace pw::samples {

// An empty folder of the running test's own.
inline std::string folder() { return test_folder("media_test"); }

inline std::vector<unsigned char> bytes_of(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

inline void write_bytes(const std::string& path, const std::vector<unsigned char>& bytes) {
  std::filesystem::remove(path);  // Some file systems flush a file that is written over.
  std::ofstream(path, std::ios::binary)
      .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
}

inline void write_text(const std::string& path, const std::string& text) {
  std::ofstream(path, std::ios::binary) << text;
}

// Values of type T as they are.
template <class T>
void write_file(const std::string& path, const OIIO::ImageSpec& spec, const std::vector<T>& values) {
  auto out = OIIO::ImageOutput::create(path);
  ASSERT_TRUE(out) << path;
  ASSERT_TRUE(out->open(path, spec)) << out->geterror();
  ASSERT_TRUE(out->write_image(spec.format, values.data())) << out->geterror();
  ASSERT_TRUE(out->close());
}

// The values of a file as they are stored.
template <class T>
std::vector<T> read_file(const std::string& path, OIIO::ImageSpec* spec = nullptr) {
  OIIO::ImageSpec wishes;
  wishes.attribute("oiio:UnassociatedAlpha", 1);
  auto in = OIIO::ImageInput::open(path, &wishes);
  if (!in) return {};
  std::vector<T> v(in->spec().image_pixels() * in->spec().nchannels);
  if (!in->read_image(0, 0, 0, in->spec().nchannels, in->spec().format, v.data())) return {};
  if (spec) *spec = in->spec();
  return v;
}

template <class T>
std::vector<T> random_values(size_t count, unsigned seed) {
  std::mt19937 g(seed);
  std::vector<T> v(count);
  for (T& x : v) x = static_cast<T>(g());
  return v;
}

// Linear colour from 0 to 1, alpha from 0 to 1 in the fourth channel, premultiplied.
inline Picture ramp(const Rect& r, int channels) {
  Canvas c(r, channels);
  for (int y = r.y0; y < r.y1; ++y)
    for (int x = r.x0; x < r.x1; ++x) {
      float* p = c.at(x, y);
      const float u = (static_cast<float>(x - r.x0) + 0.5f) / static_cast<float>(r.width());
      const float v = (static_cast<float>(y - r.y0) + 0.5f) / static_cast<float>(r.height());
      const float values[4] = {u, v, 0.5f * (u + v), 0.25f + 0.75f * u};
      for (int k = 0; k < channels; ++k) p[k] = values[k] * (channels == 4 && k < 3 ? values[3] : 1);
    }
  return std::move(c).finish();
}

}  // namespace pw::samples
