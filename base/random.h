// Counted random numbers: every value is a pure function of (seed, counter), so any pixel of any frame can be drawn
// alone. Philox 4x32 with 10 rounds: J. K. Salmon, M. A. Moraes, R. O. Dror, D. E. Shaw, "Parallel random numbers: as
// easy as 1, 2, 3", SC 2011.
#pragma once
#include <array>
#include <cstdint>

namespace pw {

using RandomBits = std::array<uint32_t, 4>;

// Four independent 32-bit words.
constexpr RandomBits random_bits(uint64_t seed, RandomBits counter) {
  uint32_t k0 = static_cast<uint32_t>(seed), k1 = static_cast<uint32_t>(seed >> 32);
  for (int round = 0; round < 10; ++round) {
    const uint64_t a = uint64_t{0xD2511F53u} * counter[0], b = uint64_t{0xCD9E8D57u} * counter[2];
    counter = {static_cast<uint32_t>(b >> 32) ^ counter[1] ^ k0, static_cast<uint32_t>(b),
               static_cast<uint32_t>(a >> 32) ^ counter[3] ^ k1, static_cast<uint32_t>(a)};
    k0 += 0x9E3779B9u;
    k1 += 0xBB67AE85u;
  }
  return counter;
}

// For pixel (x, y) of a frame; `lane` separates uses.
constexpr RandomBits random_bits(uint64_t seed, int frame, int x, int y, uint32_t lane = 0) {
  return random_bits(seed, {static_cast<uint32_t>(x), static_cast<uint32_t>(y), static_cast<uint32_t>(frame), lane});
}

// In [0, 1): the top 24 bits, so that the value is exact in a float.
constexpr float uniform(uint32_t bits) { return static_cast<float>(bits >> 8) * 0x1p-24f; }

// Two independent standard normal numbers from two words (Box and Muller 1958).
std::array<float, 2> gauss(uint32_t a, uint32_t b);

}  // namespace pw
