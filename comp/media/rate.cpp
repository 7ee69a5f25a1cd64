#include "comp/media/rate.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numeric>

namespace pw {
namespace {

Ratio reduced(int64_t num, int64_t den) {
  const int64_t common = std::gcd(num, den);
  return {num / common, den / common};
}

bool fits(const std::vector<int64_t>& times, Ratio tick, Ratio rate) {
  const double ticks = tick.den / (static_cast<double>(tick.num) * rate.value());  // A frame.
  for (size_t i = 0; i < times.size(); ++i)
    if (std::abs(static_cast<double>(times[i] - times[0]) - static_cast<double>(i) * ticks) > 1.01) return false;
  return true;
}

}  // namespace

std::string to_string(const Ratio& r) {
  return r.den == 1 ? fmt::format("{}", r.num) : fmt::format("{}/{}", r.num, r.den);
}

Ratio exact_rate(double rate) {
  const double whole = std::round(rate), dropped = std::round(rate * 1.001);
  if (whole >= 1 && std::abs(rate / whole - 1) < 5e-5) return {static_cast<int64_t>(whole), 1};
  if (dropped >= 1 && std::abs(rate * 1.001 / dropped - 1) < 5e-5)
    return reduced(static_cast<int64_t>(dropped) * 1000, 1001);
  // Continued fraction.
  int64_t n0 = 0, d0 = 1, n1 = 1, d1 = 0;
  double rest = rate;
  for (int i = 0; i < 32; ++i) {
    const double whole_part = std::floor(rest);
    if (whole_part > 1e9) break;
    const int64_t a = static_cast<int64_t>(whole_part);
    if (a * d1 + d0 > 10000) break;
    std::swap(n0, n1), std::swap(d0, d1);
    n1 += a * n0, d1 += a * d0;
    if (rest - whole_part < 1e-9) break;
    rest = 1 / (rest - whole_part);
  }
  return n1 > 0 && d1 > 0 ? Ratio{n1, d1} : Ratio{1, 10000};
}

Timing timing(const std::vector<int64_t>& times, Ratio tick, const std::vector<Ratio>& said) {
  std::vector<Ratio> rates;
  for (const Ratio& r : said)
    if (r.num > 0 && r.den > 0) rates.push_back(r);
  if (times.size() > 1 && times.back() > times.front())
    rates.push_back(exact_rate(static_cast<double>(times.size() - 1) * tick.den /
                               (static_cast<double>(times.back() - times.front()) * tick.num)));
  if (rates.empty()) return {{24, 1}, true};
  for (const Ratio& r : rates) {
    const Ratio usual = exact_rate(r.value());  // Files round: 23.976, 2997/100.
    if (fits(times, tick, usual)) return {usual, true};
    if (fits(times, tick, r)) return {r, true};
  }
  return {exact_rate(rates.front().value()), false};
}

int frame_at(const std::vector<int64_t>& times, Ratio tick, double seconds) {
  const double ticks = seconds * tick.den / tick.num + 1;
  const auto after = std::upper_bound(times.begin(), times.end(), ticks, [&](double t, int64_t time) {
    return t < static_cast<double>(time - times.front());
  });
  return std::max(0, static_cast<int>(after - times.begin()) - 1);
}

}  // namespace pw
