#include "track/plot.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "base/markup.h"

namespace pw {
namespace {

constexpr double kTop = 26, kBottom = 186, kHeight = 210;

// The smallest of 1, 2, 5 times a power of ten that is not below `least`.
double round_step(double least) {
  const double power = std::pow(10, std::floor(std::log10(least)));
  for (double m : {1., 2., 5.})
    if (m * power >= least * (1 - 1e-9)) return m * power;
  return 10 * power;
}

// What the plot shows of a value: itself, or its decimal logarithm.
struct Scale {
  bool decades;
  double low = std::numeric_limits<double>::infinity(), high = -low;

  double shown(double v) const {
    if (!decades) return v;
    return v > 0 ? std::log10(v) : std::numeric_limits<double>::quiet_NaN();
  }
  void take(double v) {
    if (const double s = shown(v); std::isfinite(s)) low = std::min(low, s), high = std::max(high, s);
  }
  double y(double v) const { return kBottom - (shown(v) - low) / (high - low) * (kBottom - kTop); }
};

Scale scale_of(const Plot& plot) {
  Scale s{plot.decades};
  for (const PlotLine& l : plot.lines)
    for (double v : l.values) s.take(v);
  if (!(s.low <= s.high)) s.low = 0, s.high = 1;
  if (plot.decades) {
    s.low = std::floor(s.low), s.high = std::max(std::ceil(s.high), s.low + 1);
  } else {
    const double room = std::max({(plot.least - (s.high - s.low)) / 2, 0.05 * (s.high - s.low), 1e-9});
    s.low -= room, s.high += room;
  }
  return s;
}

// A line across at a value, with the value beside it.
std::string rung(double y, const std::string& text) {
  return fmt::format("<path class=\"grid\" d=\"M{} {:.1f}H{}\"/><text class=\"y\" x=\"{}\" y=\"{:.1f}\">{}</text>\n",
                     FrameAxis::kLeft, y, FrameAxis::kRight, FrameAxis::kLeft - 6, y + 4, text);
}

std::string rungs(const Scale& s) {
  std::string text;
  if (s.decades) {
    const bool few = s.high - s.low < 2.5;
    for (int d = static_cast<int>(s.low); d <= s.high; ++d)
      for (int m : {1, 2, 5}) {
        const double v = m * std::pow(10, d);
        if ((m == 1 || few) && std::log10(v) <= s.high + 1e-9) text += rung(s.y(v), fmt::format("{:.6g}", v));
      }
    return text;
  }
  const double step = round_step((s.high - s.low) / 5);
  for (double k = std::ceil(s.low / step); k * step <= s.high; ++k)
    text += rung(s.y(k * step), fmt::format("{:.6g}", k * step == 0 ? 0 : k * step));
  return text;
}

std::string path_of(const PlotLine& line, const Scale& s, const FrameAxis& axis) {
  const auto known = [&](size_t i) { return i < line.values.size() && std::isfinite(s.shown(line.values[i])); };
  std::string d;
  for (size_t i = 0; i < line.values.size(); ++i) {
    if (!known(i)) continue;
    const bool begins = i == 0 || !known(i - 1);
    d += fmt::format("{}{:.1f} {:.1f}", begins ? 'M' : 'L', axis.centre(axis.first + static_cast<double>(i)),
                     s.y(line.values[i]));
    if (begins && !known(i + 1)) d += "h0";  // With round ends nothing long is a dot.
  }
  return d;
}

}  // namespace

std::vector<int> FrameAxis::ticks() const {
  const int step = std::max(1, static_cast<int>(std::lround(round_step((last - first + 1) / 11.))));
  std::vector<int> at;
  for (int f = static_cast<int>(std::ceil(first / static_cast<double>(step))) * step; f <= last; f += step)
    at.push_back(f);
  return at;
}

std::string plot_svg(const Plot& plot, const FrameAxis& axis) {
  const Scale s = scale_of(plot);
  std::string text = fmt::format(
      "<svg class=\"plot\" role=\"img\" viewBox=\"0 0 {} {}\"><title>{}</title>\n"
      "<text class=\"title\" x=\"{}\" y=\"14\">{}</text>\n",
      FrameAxis::kWidth, kHeight, escaped(plot.title), FrameAxis::kLeft, escaped(plot.title));
  text += rungs(s);
  for (int f : axis.ticks())
    text += fmt::format(
        "<path class=\"grid\" d=\"M{0:.1f} {1}V{2}\"/><text class=\"x\" x=\"{0:.1f}\" y=\"{3}\">{4}</text>\n",
        axis.centre(f), kTop, kBottom, kHeight - 8, f);
  for (const PlotLine& l : plot.lines)
    if (const std::string d = path_of(l, s, axis); !d.empty())
      text += fmt::format("<path class=\"{}\" d=\"{}\"><title>{}</title></path>\n", l.style, d, escaped(l.title));
  return text + "</svg>\n";
}

}  // namespace pw
