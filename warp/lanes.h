// Four and eight numbers at once (one SSE or AVX register).
#pragma once
#include <cstring>

namespace pw {

using f4 = float __attribute__((vector_size(16)));
using f8 = float __attribute__((vector_size(32)));
using i8 = int __attribute__((vector_size(32)));

using d4 = double __attribute__((vector_size(32)));
using i4 = int __attribute__((vector_size(16)));

// The first n floats at p; the rest is zero.
template <int n = 4>
inline f4 load4(const float* p) {
  f4 v{};
  std::memcpy(&v, p, n * sizeof(float));
  return v;
}
inline f8 load8(const float* p) {
  f8 v;
  std::memcpy(&v, p, sizeof v);
  return v;
}
inline void store8(float* p, f8 v) { std::memcpy(p, &v, sizeof v); }
template <int n = 4>
inline void store4(float* p, f4 v) {
  std::memcpy(p, &v, n * sizeof(float));
}

inline f8 splat8(float v) { return f8{v, v, v, v, v, v, v, v}; }

template <class V>
inline V min(V a, V b) {
  return a < b ? a : b;
}
template <class V>
inline V max(V a, V b) {
  return b < a ? a : b;
}

}  // namespace pw
