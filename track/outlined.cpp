#include "track/outlined.h"

#include <algorithm>
#include <cmath>
#include <string>

namespace pw {
namespace {

constexpr double kLine = 1.5, kBoldLine = 2.5, kCasing = 1.5;  // Pixels.
constexpr double kHeight = 16, kBoldHeight = 26, kAdvance = 0.8;
constexpr float kInk[] = {1.f, 0.75f, 0.05f}, kDark = 0.01f;

struct Stroke {
  Point a, b;
};

// The seven bars of a digit in a box of width 1/2 and height 1: top, upper right, lower right, bottom, lower left,
// upper left, middle.
constexpr double kBars[7][4] = {{0, 0, .5, 0}, {.5, 0, .5, .5}, {.5, .5, .5, 1}, {0, 1, .5, 1},
                                {0, .5, 0, 1}, {0, 0, 0, .5},   {0, .5, .5, .5}};
constexpr unsigned kDigits[10] = {0x3f, 0x06, 0x5b, 0x4f, 0x66, 0x6d, 0x7d, 0x07, 0x7f, 0x6f};  // Bit k: bar k.

double distance(const Stroke& s, const Point& p) {
  const Point way = s.b - s.a;
  const double t = std::clamp((p - s.a).dot(way) / std::max(1e-12, way.squaredNorm()), 0.0, 1.0);
  return (p - (s.a + t * way)).norm();
}

// Over what is there: `colour` where a stroke covers it.
void paint(Canvas& c, const std::vector<Stroke>& strokes, double width, const float* colour) {
  const double reach = width / 2 + 1;
  for (const Stroke& s : strokes) {
    const Point lo = s.a.cwiseMin(s.b), hi = s.a.cwiseMax(s.b);
    const auto cut = [&](double v, int low, int high) { return int(std::clamp(v, double(low), double(high))); };
    const Rect& w = c.window();
    const int x0 = cut(lo.x() - reach, w.x0, w.x1), x1 = cut(hi.x() + reach + 1, w.x0, w.x1);
    const int y0 = cut(lo.y() - reach, w.y0, w.y1), y1 = cut(hi.y() + reach + 1, w.y0, w.y1);
    for (int y = y0; y < y1; ++y)
      for (int x = x0; x < x1; ++x) {
        const float share = float(std::clamp(0.5 + width / 2 - distance(s, {x + 0.5, y + 0.5}), 0.0, 1.0));
        float* v = c.at(x, y);
        for (int k = 0; k < 3; ++k) v[k] += share * (colour[k] - v[k]);
      }
  }
}

std::vector<Stroke> outline_of(const std::vector<Point>& corners) {
  std::vector<Stroke> strokes;
  for (size_t i = 0; i < corners.size(); ++i) strokes.push_back({corners[i], corners[(i + 1) % corners.size()]});
  return strokes;
}

std::vector<Stroke> digits_of(int number, const Point& centre, double height) {
  std::vector<Stroke> strokes;
  const std::string text = std::to_string(number);
  for (size_t i = 0; i < text.size(); ++i) {
    const Point at = centre + height * Point((double(i) - double(text.size()) / 2) * kAdvance + 0.15, -0.5);
    for (int bar = 0; bar < 7; ++bar)
      if (kDigits[text[i] - '0'] >> bar & 1)
        strokes.push_back(
            {at + height * Point(kBars[bar][0], kBars[bar][1]), at + height * Point(kBars[bar][2], kBars[bar][3])});
  }
  return strokes;
}

}  // namespace

Picture outlined(const Picture& picture, const std::vector<NumberedRegion>& regions) {
  Canvas c(picture.window(), 3);
  for (int y = picture.window().y0; y < picture.window().y1; ++y)
    for (int x = picture.window().x0; x < picture.window().x1; ++x)
      for (int k = 0; k < 3; ++k) c.at(x, y)[k] = picture.at(x, y)[picture.channels() >= 3 ? k : 0];
  const float dark[] = {kDark, kDark, kDark};
  for (const NumberedRegion& r : regions) {
    const bool drawn = !r.corners.empty() &&
                       std::all_of(r.corners.begin(), r.corners.end(), [](const Point& p) { return p.allFinite(); });
    if (!drawn) continue;
    Point centre(0, 0);
    for (const Point& p : r.corners) centre += p / double(r.corners.size());
    std::vector<Stroke> strokes = outline_of(r.corners);
    const std::vector<Stroke> digits = digits_of(r.number, centre, r.bold ? kBoldHeight : kHeight);
    strokes.insert(strokes.end(), digits.begin(), digits.end());
    const double width = r.bold ? kBoldLine : kLine;
    paint(c, strokes, width + 2 * kCasing, dark);
    paint(c, strokes, width, kInk);
  }
  return std::move(c).finish();
}

}  // namespace pw
