// Movies beside the ffmpeg command doing the same on this machine with one thread: frames a second, and the ratio.
//   bench_movie WORK_FOLDER [CLIP]      CLIP: 1920x1080; without it one is made
#include <fmt/format.h>

#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <functional>
#include <string>

#include "comp/media/movie.h"
#include "comp/media/write_movie.h"

namespace {

constexpr int kFrames = 24;

double seconds(const std::function<void()>& f) {
  const auto start = std::chrono::steady_clock::now();
  f();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

void command(const std::string& arguments) {
  if (std::system(("ffmpeg -v error -nostdin -y " + arguments).c_str()) != 0) std::exit(1);
}

void print(const std::string& what, double ours, double theirs) {
  fmt::print("{:<44} {:7.1f} frames/s, ffmpeg {:7.1f}, ratio {:.2f}\n", what, kFrames / ours, kFrames / theirs,
             theirs / ours);
}

}  // namespace

int main(int argc, char** argv) {
  const std::string work = argc > 1 ? argv[1] : ".";
  std::filesystem::create_directories(work);
  struct Source {
    const char *name, *coder;
  };
  for (const Source& s : {Source{"h264.mp4", "-pix_fmt yuv420p -c:v libx264 -crf 18"},
                          Source{"prores.mov", "-pix_fmt yuv422p10le -c:v prores_ks -profile:v 3"}}) {
    const std::string file = work + "/" + s.name;
    command(fmt::format("{} -frames:v {} -colorspace bt709 -color_trc bt709 {} {}",
                        argc > 2 ? fmt::format("-i {}", argv[2])
                                 : std::string("-f lavfi -i testsrc2=size=1920x1080:rate=25,noise=alls=6:allf=t"),
                        kFrames, s.coder, file));
    const double ours = seconds([&] {
      const auto movie = pw::Movie::open(file);
      for (int n = 0; movie && n < kFrames; ++n)
        if (!(*movie)->read(n)) std::exit(1);
    });
    const double theirs = seconds([&] {
      command(fmt::format(
          "-threads 1 -i {} -vf \"zscale=matrixin=709:matrix=gbr:rangein=limited:range=full:filter=bilinear:"
          "transferin=709:transfer=linear,format=gbrpf32le\" -f null -",
          file));
    });
    print(fmt::format("decode {} to linear float", s.name), ours, theirs);
  }
  const auto movie = pw::Movie::open(work + "/prores.mov");
  if (!movie) return 1;
  const int width = (*movie)->info().width, height = (*movie)->info().height;
  struct Target {
    const char *name, *coder;
  };
  for (const Target& t : {Target{"out.mov", "-pix_fmt yuv422p10le -c:v prores_ks -profile:v 3 -vendor apl0"},
                          Target{"out.mkv", "-pix_fmt gbrp10le -c:v ffv1 -level 3 -g 1 -slices 4 -slicecrc 1"},
                          Target{"out.mp4", "-pix_fmt yuv420p -c:v libx264 -preset medium -crf 18"}}) {
    double encoding = 0;
    auto writer = pw::MovieWriter::open(work + "/" + t.name,
                                        {.width = width, .height = height, .frames = kFrames, .rate = {25, 1}});
    if (!writer) return 1;
    for (int n = 0; n < kFrames; ++n) {
      const auto p = (*movie)->read(n);
      encoding += seconds([&] { (void)(*writer)->add(n, *p); });
    }
    encoding += seconds([&] { (void)(*writer)->finish(); });
    // The ffmpeg command decodes too; that is measured alone and taken off.
    const std::string in = fmt::format("-threads 1 -i {}/prores.mov", work);
    const double decoding = seconds([&] { command(in + " -f null -"); });
    const double all = seconds([&] { command(fmt::format("{} -threads 1 {} {}/ref_{}", in, t.coder, work, t.name)); });
    print(fmt::format("encode {} from linear float", t.name), encoding, all - decoding);
  }
  return 0;
}
