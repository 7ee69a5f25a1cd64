// Big float buffers, reused: the first touch of fresh memory costs more than most work done on a picture, so buffers
// are 2 MB aligned, huge pages are advised, and what is given back is handed out again.
#pragma once
#include <cstddef>
#include <cstdint>
#include <memory>

namespace pw {

// `count` floats of unspecified content, 64-byte aligned, given back to the pool when the last owner lets go. Thread
// safe. Throws std::bad_alloc when the system has no memory. Callers check sizes a person can set before they ask.
std::shared_ptr<float[]> take_buffer(size_t count);

struct PoolUse {
  int64_t held_bytes = 0;   // Out with owners now.
  int64_t spare_bytes = 0;  // Kept for reuse.
  int64_t peak_bytes = 0;   // Most that was ever held at once since the last reset.
};
PoolUse pool_use();
void reset_pool_peak();
void drop_spare_buffers();  // Returns the spare ones to the system, and what the C library keeps of freed blocks.

}  // namespace pw
