#include "base/random.h"

#include <cmath>

#include "base/elementary.h"

namespace pw {

std::array<float, 2> gauss(uint32_t a, uint32_t b) {
  const float u = (static_cast<float>(a >> 8) + 0.5f) * 0x1p-24f;  // Never 0.
  const float r = std::sqrt(-2 * log(u));
  const float turn = uniform(b);
  return {r * cos_turn(turn), r * sin_turn(turn)};
}

}  // namespace pw
