// Frame rates as exact ratios, and what a list of timestamps says about them.
#pragma once
#include <cstdint>
#include <string>
#include <vector>

namespace pw {

struct Ratio {
  int64_t num = 0, den = 1;
  double value() const { return static_cast<double>(num) / static_cast<double>(den); }
  bool operator==(const Ratio&) const = default;
};
std::string to_string(const Ratio& r);  // "25", "30000/1001".

// The ratio a person means by a number of frames a second: the rates of SMPTE ST 12-1 and their like (n, or n
// 1000/1001) within 5e-5 of it, else the nearest with a denominator up to 10000. `rate` is above 0.
Ratio exact_rate(double rate);

struct Timing {
  Ratio rate;
  bool constant = true;  // Every frame stands within one tick of its place.
};

// `times` ascend, in ticks of `tick` seconds; `said` are the rates the file claims, the most trusted first (0: none).
// With timestamps that fit none of them, nor their own mean, the rate varies; it is then the first that was said, or
// that mean.
Timing timing(const std::vector<int64_t>& times, Ratio tick, const std::vector<Ratio>& said);

// The frame on show at `seconds` after the first frame's time: the last that began by then, a tick being forgiven.
int frame_at(const std::vector<int64_t>& times, Ratio tick, double seconds);

}  // namespace pw
