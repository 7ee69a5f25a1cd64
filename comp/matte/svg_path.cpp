#include "comp/matte/svg_path.h"

#include <fmt/format.h>

#include <cmath>
#include <numbers>

#include "comp/matte/svg_scan.h"

namespace pw {
namespace {

double angle(const Point& u, const Point& v) {
  return std::atan2(u.x() * v.y() - u.y() * v.x(), u.x() * v.x() + u.y() * v.y());
}

class PathReader {
 public:
  PathReader(std::string_view data, size_t most_knots) : scan_(data), most_(most_knots) {}

  PathText read() {
    char command = '\0';
    for (scan_.skip_space(); !scan_.done(); scan_.skip_separator()) {
      const size_t here = scan_.position();
      if (const char c = scan_.peek(); (c | 32) >= 'a' && (c | 32) <= 'z') {
        scan_.take(c);
        if (command == '\0' && c != 'M' && c != 'm') return fault(here, "path data must begin with M");
        command = c;
        scan_.skip_space();
      } else if (command == '\0' || (command | 32) == 'z') {
        return fault(here, "a command is missing");
      }
      if (!segment(command)) return fault(scan_.position(), why_);
      if (command == 'M') command = 'L';
      if (command == 'm') command = 'l';
      if (knots_ > most_) {
        result_.too_many = true;
        return fault(here, "too many knots");
      }
    }
    finish();
    return std::move(result_);
  }

 private:
  PathText fault(size_t at, std::string_view why) {
    result_.fault = fmt::format("{} at character {} ({})", why, at + 1, near_there(at));
    return std::move(result_);
  }

  // What stands there, without what a terminal could take for more than text.
  std::string near_there(size_t at) const {
    std::string s;
    for (char c : scan_.text().substr(at, 12)) s += c >= ' ' && c < 127 ? c : '?';
    return s.empty() ? "its end" : "'" + s + "'";
  }

  bool numbers(int count) {
    for (int i = 0; i < count; ++i) {
      if (i > 0) scan_.skip_separator();
      const auto v = scan_.take_number();
      if (!v) return false;
      n_[i] = *v;
    }
    return true;
  }
  Point point(int first, bool relative) const {
    return Point(n_[first], n_[first + 1]) + (relative ? now_ : Point(0, 0));
  }

  // One set of parameters of a command.
  bool segment(char command) {
    const char kind = static_cast<char>(command & ~32);
    const bool rel = command & 32;
    why_ = "a number is missing";
    Point reflected_cubic = last_ == 'C' || last_ == 'S' ? Point(2 * now_ - handle_) : now_;
    Point reflected_quad = last_ == 'Q' || last_ == 'T' ? Point(2 * now_ - handle_) : now_;
    switch (kind) {
      case 'M':
        if (!numbers(2)) return false;
        finish();
        now_ = start_ = point(0, rel);
        break;
      case 'Z':
        finish();
        now_ = start_;
        break;
      case 'L':
        if (!numbers(2)) return false;
        line(point(0, rel));
        break;
      case 'H':
        if (!numbers(1)) return false;
        line({n_[0] + (rel ? now_.x() : 0), now_.y()});
        break;
      case 'V':
        if (!numbers(1)) return false;
        line({now_.x(), n_[0] + (rel ? now_.y() : 0)});
        break;
      case 'C':
        if (!numbers(6)) return false;
        curve(point(0, rel), point(2, rel), point(4, rel));
        break;
      case 'S':
        if (!numbers(4)) return false;
        curve(reflected_cubic, point(0, rel), point(2, rel));
        break;
      case 'Q':
        if (!numbers(4)) return false;
        quadratic(point(0, rel), point(2, rel));
        break;
      case 'T':
        if (!numbers(2)) return false;
        quadratic(reflected_quad, point(0, rel));
        break;
      case 'A':
        if (!arc(rel)) return false;
        break;
      default:
        why_ = fmt::format("'{}' is no path command", command);
        return false;
    }
    last_ = kind;
    return true;
  }

  Knot& last_knot() {
    if (contour_.knots.empty()) {
      contour_.knots.push_back({now_, now_, now_});
      ++knots_;
    }
    return contour_.knots.back();
  }
  void curve(const Point& out, const Point& in, const Point& to) {
    last_knot().out = out;
    contour_.knots.push_back({to, in, to});
    ++knots_;
    handle_ = in;
    now_ = to;
  }
  void line(const Point& to) { curve(now_ + (to - now_) / 3, to + (now_ - to) / 3, to); }
  void quadratic(const Point& handle, const Point& to) {
    curve(now_ + (handle - now_) * (2.0 / 3), to + (handle - to) * (2.0 / 3), to);
    handle_ = handle;
  }

  // From end points to a centre as SVG 1.1, appendix F.6 derives it; then cubics of at most 45 degrees, which are off
  // the arc by less than 5e-6 of its radius.
  bool arc(bool rel) {
    if (!numbers(3)) return false;
    const double degrees = n_[2];
    double rx = std::abs(n_[0]), ry = std::abs(n_[1]);
    bool flags[2];
    for (bool& flag : flags) {
      scan_.skip_separator();
      flag = scan_.take('1');
      if (!flag && !scan_.take('0')) return why_ = "a flag of the arc must be 0 or 1", false;
    }
    scan_.skip_separator();
    if (!numbers(2)) return false;
    const Point to = point(0, rel);
    if (to == now_) return true;
    if (rx == 0 || ry == 0) return line(to), true;
    const double phi = degrees * std::numbers::pi / 180, c = std::cos(phi), s = std::sin(phi);
    const Point d = (now_ - to) / 2;
    const Point p(c * d.x() + s * d.y(), -s * d.x() + c * d.y());
    const double lambda = std::pow(p.x() / rx, 2) + std::pow(p.y() / ry, 2);
    if (lambda > 1) rx *= std::sqrt(lambda), ry *= std::sqrt(lambda);
    const double q = std::pow(rx * p.y(), 2) + std::pow(ry * p.x(), 2);
    const double root = std::sqrt(std::max(0.0, (rx * rx * ry * ry - q) / q)) * (flags[0] == flags[1] ? -1 : 1);
    const Point centre(root * rx * p.y() / ry, -root * ry * p.x() / rx);
    const Point from_unit((p.x() - centre.x()) / rx, (p.y() - centre.y()) / ry);
    const Point to_unit((-p.x() - centre.x()) / rx, (-p.y() - centre.y()) / ry);
    const double first = angle(Point(1, 0), from_unit);
    double turn = angle(from_unit, to_unit);
    if (!flags[1] && turn > 0) turn -= 2 * std::numbers::pi;
    if (flags[1] && turn < 0) turn += 2 * std::numbers::pi;
    if (!std::isfinite(turn) || !std::isfinite(rx) || !std::isfinite(ry)) return line(to), true;

    const Point middle = (now_ + to) / 2;
    const auto place = [&](double x, double y) -> Point {
      const Point e(rx * x + centre.x(), ry * y + centre.y());
      return {c * e.x() - s * e.y() + middle.x(), s * e.x() + c * e.y() + middle.y()};
    };
    const int parts = std::max(1, static_cast<int>(std::ceil(std::abs(turn) / (std::numbers::pi / 4) - 1e-9)));
    const double step = turn / parts, h = 4.0 / 3 * std::tan(step / 4);
    for (int i = 0; i < parts; ++i) {
      const double a = first + i * step, b = a + step;
      curve(place(std::cos(a) - h * std::sin(a), std::sin(a) + h * std::cos(a)),
            place(std::cos(b) + h * std::sin(b), std::sin(b) - h * std::cos(b)),
            i + 1 == parts ? to : place(std::cos(b), std::sin(b)));
    }
    return true;
  }

  void finish() {
    auto& k = contour_.knots;
    if (k.size() > 1) {
      k.back().out = k.back().at + (k.front().at - k.back().at) / 3;
      k.front().in = k.front().at + (k.back().at - k.front().at) / 3;
      result_.contours.push_back(std::move(contour_));
    }
    contour_ = {};
  }

  SvgScan scan_;
  size_t most_, knots_ = 0;
  PathText result_;
  Contour contour_;
  Point now_{0, 0}, start_{0, 0}, handle_{0, 0};
  char last_ = '\0';
  double n_[6] = {};
  std::string why_;
};

}  // namespace

PathText parse_path(std::string_view data, size_t most_knots) { return PathReader(data, most_knots).read(); }

Result<Shape> read_path(std::string_view data) {
  PathText text = parse_path(data, kMostKnots);
  if (!text.fault.empty())
    return fail(
        Problem{.what = text.fault, .remedy = "give SVG path data in plate pixels, such as 'M 10 10 H 90 V 60 Z'"});
  for (const Contour& c : text.contours)
    for (const Knot& k : c.knots)
      for (const Point& p : {k.at, k.in, k.out})
        if (!(p.cwiseAbs().maxCoeff() <= kFarthest))
          return fail(Problem{.what = "the path reaches more than a million pixels away",
                              .remedy = "give positions in plate pixels"});
  weld(text.contours);
  return Shape{std::move(text.contours)};
}

void weld(std::vector<Contour>& contours) {
  constexpr double kSame = 1e-3;
  for (Contour& c : contours) {
    auto& k = c.knots;
    if (k.size() > 1 && (k.back().at - k.front().at).norm() <= kSame && (k.back().out - k.back().at).norm() <= kSame &&
        (k.front().in - k.front().at).norm() <= kSame) {
      k.front().in = k.back().in;
      k.pop_back();
    }
  }
  std::erase_if(contours, [](const Contour& c) { return c.knots.size() < 2; });
}

std::string to_path(std::span<const Contour> contours) {
  std::string text;
  const auto number = [](double v) {
    std::string s = fmt::format("{:.7f}", v);
    s.erase(s.find_last_not_of('0') + 1);
    if (s.back() == '.') s.pop_back();
    return s == "-0" ? std::string("0") : s;
  };
  const auto pair = [&](const Point& p) { return number(p.x()) + "," + number(p.y()); };
  for (const Contour& c : contours) {
    if (c.knots.empty()) continue;
    text += (text.empty() ? "M " : " M ") + pair(c.knots[0].at);
    for (size_t i = 0; i < c.knots.size(); ++i) {
      const Cubic s = segment(c, i);
      text += " C " + pair(s[1]) + " " + pair(s[2]) + " " + pair(s[3]);
    }
    text += " Z";
  }
  return text;
}

}  // namespace pw
