// Small movies for the tests, made by the ffmpeg command, and what that command makes of them: the reference is a
// program of its own right down to the conversion of colour (zimg).
#pragma once
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>
#include <vector>

#include "comp/media/movie.h"
#include "samples.h"

namespace pw::clips {

// Runs the ffmpeg command with `arguments`; a failure fails the test.
inline bool ffmpeg(const std::string& arguments) {
  const std::string command = "ffmpeg -v error -nostdin -y -threads 1 " + arguments;
  const bool ok = std::system(command.c_str()) == 0;
  EXPECT_TRUE(ok) << command;
  return ok;
}

// A moving test card with colour everywhere.
inline std::string card(int frames, const std::string& more = "", const std::string& size = "96x64") {
  return fmt::format("-f lavfi -i \"testsrc2=size={}:rate=25,noise=alls=12:allf=t:all_seed=7{}\" -frames:v {}", size,
                     more, frames);
}

struct Floats {
  int width, height, frames;
  std::vector<float> values;                        // [frame][channel G B R][y][x], encoded.
  float at(int frame, int c, int x, int y) const {  // c: R, G, B.
    constexpr int plane[] = {2, 0, 1};
    return values[((size_t(frame) * 3 + plane[c]) * height + y) * width + x];
  }
};

// All frames as ffmpeg converts them when told everything: linear interpolation of Cb and Cr, floats. `more`: what else
// is asked of zimg.
inline Floats reference(const std::string& file, int width, int height, const std::string& matrix = "709",
                        const std::string& range = "limited", const std::string& siting = "left",
                        const std::string& more = "") {
  const std::string raw = file + ".raw";
  ffmpeg(
      fmt::format("-i {} -vsync passthrough -vf \"zscale=matrixin={}:rangein={}:chromalin={}:matrix=gbr:range=full:"
                  "filter=bilinear:dither=none{},format=gbrpf32le\" -f rawvideo {}",
                  file, matrix, range, siting, more, raw));
  const std::vector<unsigned char> bytes = samples::bytes_of(raw);
  std::filesystem::remove(raw);
  Floats f{width, height, 0, std::vector<float>(bytes.size() / 4)};
  if (!bytes.empty()) std::memcpy(f.values.data(), bytes.data(), f.values.size() * 4);
  f.frames = static_cast<int>(f.values.size() / (size_t(width) * height * 3));
  return f;
}

// The largest difference of encoded values in 8-bit codes, with `encoding` put on again.
inline double worst(const Picture& p, const Floats& f, int frame, Encoding e) {
  double worst = 0;
  std::vector<float> row;
  for (int y = 0; y < f.height; ++y) {
    const int n = p.channels();
    row.assign(p.at(0, y), p.at(0, y) + size_t(f.width) * n);
    encode(e, row.data(), row.data(), row.size());
    for (int x = 0; x < f.width; ++x)
      for (int c = 0; c < 3; ++c)
        worst = std::max(worst, 255.0 * std::abs(row[x * n + (n == 1 ? 0 : c)] - f.at(frame, c, x, y)));
  }
  return worst;
}

inline std::string told(const Problems& p) { return p.empty() ? "" : to_string(p[0]); }

}  // namespace pw::clips
