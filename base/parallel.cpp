#include "base/parallel.h"

#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

#include <numeric>
#include <thread>
#include <vector>

#include "base/random.h"

namespace pw {
namespace {

class Serial final : public Runner {
 public:
  void run(size_t count, const std::function<void(size_t)>& task) const override {
    for (size_t i = 0; i < count; ++i) task(i);
  }
};

class Arena final : public Runner {
 public:
  explicit Arena(int threads) : arena_(threads) {}
  void run(size_t count, const std::function<void(size_t)>& task) const override {
    // Isolated: a thread that waits here takes no other work in between, so what is in memory stays what was planned.
    arena_.execute([&] {
      tbb::this_task_arena::isolate([&] {
        tbb::parallel_for(
            size_t{0}, count, [&](size_t i) { task(i); }, tbb::simple_partitioner());
      });
    });
  }

 private:
  mutable tbb::task_arena arena_;
};

class Shuffled final : public Runner {
 public:
  explicit Shuffled(uint64_t seed) : seed_(seed) {}
  void run(size_t count, const std::function<void(size_t)>& task) const override {
    std::vector<size_t> order(count);
    std::iota(order.begin(), order.end(), size_t{0});
    for (size_t i = count; i > 1; --i)
      std::swap(order[i - 1], order[random_bits(seed_, {uint32_t(i), uint32_t(i >> 32), 0, 0})[0] % i]);
    for (size_t i : order) task(i);
  }

 private:
  uint64_t seed_;
};

}  // namespace

const Runner& serial() {
  static const Serial s;
  return s;
}

std::unique_ptr<Runner> arena(int threads) {
  if (threads <= 0) threads = static_cast<int>(std::max(1u, std::thread::hardware_concurrency()));
  if (threads == 1) return std::make_unique<Serial>();
  return std::make_unique<Arena>(threads);
}

std::unique_ptr<Runner> shuffled(uint64_t seed) { return std::make_unique<Shuffled>(seed); }

}  // namespace pw
