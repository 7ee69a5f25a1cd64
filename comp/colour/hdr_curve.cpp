#include "comp/colour/hdr_curve.h"

#include <algorithm>
#include <cmath>

namespace pw {
namespace {

constexpr double kA = 0.17883277, kB = 1 - 4 * kA;
const double kC = 0.5 - kA * std::log(4 * kA);
const double kHlgWhite = (std::exp((0.75 - kC) / kA) + kB) / 12;

constexpr double kM1 = 2610.0 / 16384, kM2 = 2523.0 / 4096 * 128;
constexpr double kC1 = 3424.0 / 4096, kC2 = 2413.0 / 4096 * 32, kC3 = 2392.0 / 4096 * 32;
constexpr double kPqWhite = 203.0 / 10000;

}  // namespace

double hlg_decode(double v) {
  const double e = v <= 0.5 ? v * v / 3 : (std::exp((std::min(v, 16.0) - kC) / kA) + kB) / 12;
  return e / kHlgWhite;
}

double hlg_encode(double light) {
  const double e = light * kHlgWhite;
  return e <= 1.0 / 12 ? std::sqrt(3 * e) : kA * std::log(12 * e - kB) + kC;
}

double pq_decode(double v) {
  const double p = std::pow(std::min(v, 1.0), 1 / kM2);
  return std::pow(std::max(p - kC1, 0.0) / (kC2 - kC3 * p), 1 / kM1) / kPqWhite;
}

double pq_encode(double light) {
  if (light <= 0) return 0;  // The formula gives 0.0000007.
  const double p = std::pow(std::min(light * kPqWhite, 1.0), kM1);
  return std::pow((kC1 + kC2 * p) / (1 + kC3 * p), kM2);
}

}  // namespace pw
