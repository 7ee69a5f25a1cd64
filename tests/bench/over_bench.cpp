// Source-over of one 1920 x 1080 RGBA picture on another, beside OpenImageIO's `over` into a preallocated picture, with
// 1 and 2 threads. Ours draws bands the way a plan does, into buffers of the pool.
#include <OpenImageIO/imagebuf.h>
#include <OpenImageIO/imagebufalgo.h>
#include <benchmark/benchmark.h>
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "base/parallel.h"
#include "base/random.h"
#include "comp/colour/layer.h"

namespace {

constexpr pw::Rect kRect = pw::Rect::sized(1920, 1080);
constexpr int kBand = 68;  // Rows: 2 MB.

pw::Picture drawn(uint64_t seed) {
  pw::Canvas c(kRect, 4);
  for (int y = 0; y < kRect.y1; ++y)
    for (int x = 0; x < kRect.x1; ++x) {
      const pw::RandomBits r = pw::random_bits(seed, 0, x, y);
      const float alpha = pw::uniform(r[3]);
      for (int k = 0; k < 4; ++k) c.at(x, y)[k] = k == 3 ? alpha : alpha * pw::uniform(r[k]);
    }
  return std::move(c).finish();
}

const pw::Picture& back() {
  static const pw::Picture p = drawn(1);
  return p;
}
const pw::Picture& front() {
  static const pw::Picture p = drawn(2);
  return p;
}

OIIO::ImageBuf wrapped(const pw::Picture& p) {
  OIIO::ImageSpec spec(1920, 1080, 4, OIIO::TypeDesc::FLOAT);
  spec.alpha_channel = 3;
  return {spec, const_cast<float*>(p.row(0))};
}

void platewright_over(benchmark::State& state) {
  const auto runner = pw::arena(static_cast<int>(state.range(0)));
  std::vector<pw::Picture> bands((kRect.y1 + kBand - 1) / kBand);
  back(), front();
  for (auto _ : state) {
    runner->run(bands.size(), [&](size_t i) {
      const int y = static_cast<int>(i) * kBand;
      bands[i] = pw::layer(back(), front(), nullptr, {}, intersect(kRect, pw::Rect{0, y, 1920, y + kBand}));
    });
    benchmark::ClobberMemory();
  }
}

void oiio_over(benchmark::State& state) {
  const OIIO::ImageBuf a = wrapped(front()), b = wrapped(back());
  OIIO::ImageBuf out(a.spec());
  OIIO::ImageBufAlgo::zero(out);
  for (auto _ : state) {
    OIIO::ImageBufAlgo::over(out, a, b, {}, static_cast<int>(state.range(0)));
    benchmark::ClobberMemory();
  }
}

void plain(benchmark::internal::Benchmark* b) {
  b->Arg(1)->Arg(2)->Unit(benchmark::kMillisecond)->UseRealTime()->Repetitions(15)->ReportAggregatesOnly(true);
  b->ComputeStatistics("fastest", [](const std::vector<double>& v) { return *std::min_element(v.begin(), v.end()); });
}
BENCHMARK(platewright_over)->Apply(plain);
BENCHMARK(oiio_over)->Apply(plain);

// Keeps the fastest repetitions, which other work on the machine disturbs least, for the ratio.
class Fastest : public benchmark::ConsoleReporter {
 public:
  void ReportRuns(const std::vector<Run>& runs) override {
    for (const Run& r : runs)
      if (r.aggregate_name == "fastest")
        of[fmt::format("{}/{}", r.run_name.function_name, r.run_name.args)] = r.GetAdjustedRealTime();
    ConsoleReporter::ReportRuns(runs);
  }
  std::map<std::string, double> of;
};

}  // namespace

int main(int argc, char** argv) {
  benchmark::Initialize(&argc, argv);
  OIIO::attribute("threads", 2);
  Fastest fastest;
  benchmark::RunSpecifiedBenchmarks(&fastest);
  for (int threads : {1, 2}) {
    const double ours = fastest.of[fmt::format("platewright_over/{}", threads)];
    const double theirs = fastest.of[fmt::format("oiio_over/{}", threads)];
    if (ours > 0 && theirs > 0)
      fmt::print("over: {:.2f} x the time of OpenImageIO with {} thread(s)\n", ours / theirs, threads);
  }
}
