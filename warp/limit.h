// A limiter against ringing, after A. Suresh, H. T. Huynh, "Accurate monotonicity-preserving schemes with Runge-Kutta
// time stepping", Journal of Computational Physics 136, 1997. A value between the neighbours b and c of a row a b c d
// is kept between them, widened where the row bends the same way on both sides: that is a smooth peak or valley, which
// may well rise above its samples. At the foot of a step or beside a lamp one side is straight or bends the other way,
// and nothing may ring there. Scales with the data, so premultiplied colour and alpha stay in proportion.
#pragma once
#include "warp/lanes.h"

namespace pw {

// How far a peak may rise above its higher neighbour, in units of the smaller second difference. A parabola needs 1/8,
// a sinusoid of 0.35 cycles per pixel 0.38.
inline constexpr float kPeakRoom = 0.4f;
// Light is not negative: a valley may not lose more than this share of its lower neighbour.
inline constexpr float kValleyShare = 0.5f;

// V: float, f4 or f8.
template <class V>
inline V limited(V value, V a, V b, V c, V d) {
  const V zero{};
  const V bend_b = (a + c) - (b + b), bend_c = (b + d) - (c + c);
  const V lo = min(b, c), hi = max(b, c);
  const V valley = max(zero, min(bend_b, bend_c)), peak = min(zero, max(bend_b, bend_c));
  const V depth = min(kPeakRoom * valley, kValleyShare * max(lo, -lo));
  return min(max(value, lo - depth), hi - kPeakRoom * peak);
}

}  // namespace pw
