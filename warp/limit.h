// A limiter against ringing, in the spirit of A. Suresh, H. T. Huynh, "Accurate monotonicity-preserving schemes with
// Runge-Kutta time stepping", Journal of Computational Physics 136, 1997. A value between the neighbours b and c of a
// row a b c d is kept between them, widened where the row falls towards the gap from both sides (a valley) or rises
// towards it (a peak): there the truth may well lie beyond its samples. At the foot of a step or beside a lamp the row
// runs level on one side, and nothing may ring there. Scales with the data, so premultiplied colour and alpha stay in
// proportion.
#pragma once
#include "warp/lanes.h"

namespace pw {

// How far a peak may rise above its higher neighbour, in units of the gentler of the slopes that lead to it. A parabola
// needs 1/8, a sinusoid of 0.35 cycles per pixel 0.38.
inline constexpr float kPeakRoom = 0.4f;
// Light is not negative: a valley may not lose more than this share of its lower neighbour.
inline constexpr float kValleyShare = 0.5f;

// V: float, f4 or f8.
template <class V>
inline V limited(V value, V a, V b, V c, V d) {
  const V zero{}, left = b - a, right = c - d;
  const V lo = min(b, c), hi = max(b, c);
  const V peak = max(zero, min(left, right)), valley = min(zero, max(left, right));
  const V depth = min(-kPeakRoom * valley, kValleyShare * max(lo, -lo));
  return min(max(value, lo - depth), hi + kPeakRoom * peak);
}

}  // namespace pw
