// Speed of resampling beside cv::warpPerspective with INTER_CUBIC: 1920x1080, 4 floats, a mild perspective; outputs
// come from a warm pool here and are preallocated there. Ends with ratio lines: our time by OpenCV's; below 1 is
// faster.
#include <benchmark/benchmark.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "base/parallel.h"
#include "warp/resample.h"

namespace {

const pw::Rect kFrame = pw::Rect::sized(1920, 1080);
constexpr int kBand = 64;

const pw::Picture& source() {
  static const pw::Picture p = [] {
    pw::Canvas c(kFrame, 4);
    for (int y = 0; y < kFrame.y1; ++y)
      for (int i = 0; i < kFrame.x1 * 4; ++i)
        c.row(y)[i] = float(0.5 + 0.3 * std::sin(0.05 * i + 0.3 * (i & 3)) * std::cos(0.07 * y));
    return std::move(c).finish();
  }();
  return p;
}

pw::Matrix3 perspective() {
  pw::Matrix3 h;
  h << 1.002, 0.011, 3.3, -0.008, 0.999, 2.2, 2e-6, -3e-6, 1;
  return h;
}

void ours(benchmark::State& state, pw::Filter filter) {
  const auto runner = pw::arena(int(state.range(0)));
  const pw::ResampleOptions options{filter, pw::Edge::clear, true, {}};
  std::vector<pw::Picture> bands((kFrame.y1 + kBand - 1) / kBand);
  source();
  for (auto _ : state)
    runner->run(bands.size(), [&](size_t i) {
      const pw::Rect band = intersect(kFrame, {0, int(i) * kBand, kFrame.x1, int(i + 1) * kBand});
      bands[i] = resample(source(), perspective(), band, options);
    });
}

void opencv(benchmark::State& state) {
  cv::setNumThreads(int(state.range(0)));
  const pw::Matrix3 h = pw::to_pixel_centres(perspective());
  cv::Mat m(3, 3, CV_64F), to(kFrame.y1, kFrame.x1, CV_32FC4);
  for (int i = 0; i < 9; ++i) m.at<double>(i / 3, i % 3) = h(i / 3, i % 3);
  const cv::Mat from(kFrame.y1, kFrame.x1, CV_32FC4, const_cast<float*>(source().row(0)));
  for (auto _ : state) cv::warpPerspective(from, to, m, to.size(), cv::INTER_CUBIC);
}

BENCHMARK_CAPTURE(ours, cubic, pw::Filter::cubic)->Arg(1)->Arg(2)->UseRealTime()->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(ours, sharp, pw::Filter::sharp)->Arg(1)->Arg(2)->UseRealTime()->Unit(benchmark::kMillisecond);
BENCHMARK(opencv)->Name("opencv/cubic")->Arg(1)->Arg(2)->UseRealTime()->Unit(benchmark::kMillisecond);

// Keeps the fastest repetition of each, which other work on the machine disturbs least.
class Ratios : public benchmark::ConsoleReporter {
 public:
  void ReportRuns(const std::vector<Run>& runs) override {
    ConsoleReporter::ReportRuns(runs);
    for (const Run& r : runs)
      if (r.run_type == Run::RT_Iteration) {
        const auto [it, fresh] = best_.try_emplace(r.benchmark_name(), r.GetAdjustedRealTime());
        if (!fresh) it->second = std::min(it->second, r.GetAdjustedRealTime());
      }
  }
  void Finalize() override {
    for (const char* threads : {"1", "2"})
      for (const char* filter : {"cubic", "sharp"}) {
        const std::string tail = std::string("/") + threads + "/real_time";
        const auto a = best_.find("ours/" + std::string(filter) + tail), b = best_.find("opencv/cubic" + tail);
        if (a != best_.end() && b != best_.end())
          std::printf("ratio resample %s / warpPerspective cubic, %s thread(s): %.2f\n", filter, threads,
                      a->second / b->second);
      }
  }

 private:
  std::map<std::string, double> best_;
};

}  // namespace

int main(int argc, char** argv) {
  benchmark::Initialize(&argc, argv);
  Ratios reporter;
  benchmark::RunSpecifiedBenchmarks(&reporter);
}
