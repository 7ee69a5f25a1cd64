// How independent tasks are run. Work is split the same way whatever runs it, so results do not depend on the runner.
#pragma once
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>

namespace pw {

class Runner {
 public:
  virtual ~Runner() = default;
  // Calls task(0) ... task(count - 1), each once, in any order and perhaps at the same time; returns when all have
  // ended. The first exception thrown by a task is thrown again here. No lock may be held across the call.
  virtual void run(size_t count, const std::function<void(size_t)>& task) const = 0;
};

// One after the other on the calling thread.
const Runner& serial();

// One oneTBB arena of `threads` threads (0: as many as the machine has); owned by the application and passed down.
std::unique_ptr<Runner> arena(int threads);

// For tests: one after the other in an order drawn from `seed`, so that a task that leans on another's result is found
// out.
std::unique_ptr<Runner> shuffled(uint64_t seed);

}  // namespace pw
