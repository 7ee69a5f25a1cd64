#include "comp/weather/drops.h"

#include "base/elementary.h"

namespace pw {

double drop_slope(double rain_mm_h) { return 4.1 * pow(static_cast<float>(rain_mm_h), -0.21f); }

double drops_per_m3(double rain_mm_h) {
  if (!(rain_mm_h > 0)) return 0;
  const double slope = drop_slope(rain_mm_h);
  const auto beyond = [&](double mm) { return double(exp(static_cast<float>(-slope * mm))); };
  return kDropsAtZero / slope * (beyond(kSmallestDrop) - beyond(kLargestDrop));
}

float fall_speed(float mm) { return 9.65f - 10.3f * exp(-0.6f * mm); }

}  // namespace pw
