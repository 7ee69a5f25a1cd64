#include "base/pool.h"

#include <malloc.h>
#include <sys/mman.h>

#include <bit>
#include <cstdlib>
#include <map>
#include <mutex>
#include <new>
#include <vector>

namespace pw {
namespace {

constexpr size_t kHuge = size_t{2} << 20;

class Pool {
 public:
  // Sizes are rounded up to an eighth of their power of two, so that a buffer fits others of nearly its size.
  static size_t rounded(size_t bytes) {
    if (bytes < 4096) bytes = 4096;
    const size_t step = std::max<size_t>(4096, std::bit_floor(bytes) / 8);
    bytes = (bytes + step - 1) / step * step;
    return bytes >= kHuge ? (bytes + kHuge - 1) / kHuge * kHuge : bytes;
  }

  float* take(size_t bytes) {
    {
      std::lock_guard lock(mutex_);
      use_.held_bytes += static_cast<int64_t>(bytes);
      use_.peak_bytes = std::max(use_.peak_bytes, use_.held_bytes);
      auto it = spare_.find(bytes);
      if (it != spare_.end() && !it->second.empty()) {
        float* p = it->second.back();
        it->second.pop_back();
        use_.spare_bytes -= static_cast<int64_t>(bytes);
        return p;
      }
    }
    void* p = std::aligned_alloc(bytes >= kHuge ? kHuge : 64, bytes);
    if (!p) {
      std::lock_guard lock(mutex_);
      use_.held_bytes -= static_cast<int64_t>(bytes);
      throw std::bad_alloc();
    }
    if (bytes >= kHuge) madvise(p, bytes, MADV_HUGEPAGE);
    return static_cast<float*>(p);
  }

  void give(float* p, size_t bytes) {
    std::lock_guard lock(mutex_);
    use_.held_bytes -= static_cast<int64_t>(bytes);
    use_.spare_bytes += static_cast<int64_t>(bytes);
    spare_[bytes].push_back(p);
  }

  void drop() {
    std::lock_guard lock(mutex_);
    for (auto& [bytes, list] : spare_)
      for (float* p : list) std::free(p);
    spare_.clear();
    use_.spare_bytes = 0;
  }

  PoolUse use() {
    std::lock_guard lock(mutex_);
    return use_;
  }
  void reset_peak() {
    std::lock_guard lock(mutex_);
    use_.peak_bytes = use_.held_bytes;
  }

 private:
  std::mutex mutex_;
  std::map<size_t, std::vector<float*>> spare_;
  PoolUse use_;
};

// Never destroyed: pictures held by statics may outlive any order of destruction.
Pool& pool() {
  static Pool* const p = new Pool;
  return *p;
}

}  // namespace

std::shared_ptr<float[]> take_buffer(size_t count) {
  if (count > SIZE_MAX / sizeof(float) / 2) throw std::bad_alloc();
  const size_t bytes = Pool::rounded(count * sizeof(float));
  return {pool().take(bytes), [bytes](float* p) { pool().give(p, bytes); }};
}

PoolUse pool_use() { return pool().use(); }
void reset_pool_peak() { pool().reset_peak(); }
void drop_spare_buffers() {
  pool().drop();
  malloc_trim(0);
}

}  // namespace pw
