#include "base/parallel.h"

#include <gtest/gtest.h>

#include <atomic>
#include <stdexcept>
#include <vector>

namespace pw::parallel_test {

TEST(Parallel, EveryTaskRunsOnce) {
  const auto two = arena(2), mixed = shuffled(3);
  for (const Runner* r : {&serial(), (const Runner*)two.get(), (const Runner*)mixed.get()})
    for (size_t n : {0, 1, 2, 97}) {
      std::vector<std::atomic<int>> hits(n);
      r->run(n, [&](size_t i) { ++hits[i]; });
      for (auto& h : hits) EXPECT_EQ(h, 1);
    }
}

TEST(Parallel, ExceptionsComeBack) {
  for (int threads : {1, 2})
    EXPECT_THROW(arena(threads)->run(5,
                                     [](size_t i) {
                                       if (i == 3) throw std::runtime_error("x");
                                     }),
                 std::runtime_error);
}

TEST(Parallel, ShuffledIsADifferentOrderForADifferentSeed) {
  auto order = [](uint64_t seed) {
    std::vector<size_t> o;
    shuffled(seed)->run(50, [&](size_t i) { o.push_back(i); });
    return o;
  };
  EXPECT_EQ(order(1), order(1));
  EXPECT_NE(order(1), order(2));
}

}  // namespace pw::parallel_test
