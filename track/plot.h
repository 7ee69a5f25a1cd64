// Plots over the frames of a shot, as SVG inside a page. All plots of one axis lie straight below one another.
#pragma once
#include <string>
#include <vector>

namespace pw {

// Where frames lie along a plot, in its own units. Frame f takes the room from left(f) to left(f + 1).
struct FrameAxis {
  static constexpr double kLeft = 70, kRight = 940, kWidth = 950;
  int first = 1, last = 1;
  double left(double frame) const { return kLeft + (frame - first) * (kRight - kLeft) / (last - first + 1); }
  double centre(double frame) const { return left(frame + 0.5); }
  // Round frame numbers to write below a plot, ascending, twelve at most.
  std::vector<int> ticks() const;
};

struct PlotLine {
  std::string style;           // Classes of the line: colour and dashes are the page's.
  std::string title;           // What it is, in words.
  std::vector<double> values;  // From the axis' first frame on; what is not finite leaves a gap.
};

struct Plot {
  std::string title;     // With the unit.
  bool decades = false;  // Logarithmic; values of 0 and below leave a gap.
  double least = 0;      // The smallest range of values shown, so that small noise does not look large.
  std::vector<PlotLine> lines;
};

// An <svg> element. A value alone between two gaps is a dot.
std::string plot_svg(const Plot& plot, const FrameAxis& axis);

}  // namespace pw
