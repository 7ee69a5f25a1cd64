#include "comp/spec/value.h"

#include <fmt/format.h>

#include <cmath>

namespace pw {

std::string_view name(Unit u) {
  constexpr std::string_view n[] = {"", "px", "degrees", "fraction", "stops", "frames", "a second"};
  return n[static_cast<int>(u)];
}

std::string_view name(Flow f) {
  constexpr std::string_view n[] = {"picture", "matte", "field", "motion", "outline",
                                    "light",   "noise", "lens",  "camera"};
  return n[static_cast<int>(f)];
}

bool fits(Flow offered, Flow wanted) {
  return offered == wanted || (offered == Flow::outline && wanted == Flow::matte);
}

bool has_pixels(Flow f) {
  return f != Flow::motion && f != Flow::light && f != Flow::noise && f != Flow::lens && f != Flow::camera;
}

std::string with_article(std::string_view noun) {
  const bool vowel = !noun.empty() && std::string_view("aeiou").find(noun[0]) != std::string_view::npos;
  return fmt::format("{} {}", vowel ? "an" : "a", noun);
}

double Animated::at(double frame) const {
  if (keys.empty()) return value;
  const auto next = keys.upper_bound(static_cast<int>(std::floor(frame)));
  if (next == keys.begin()) return next->second;
  const auto here = std::prev(next);
  if (next == keys.end()) return here->second;
  const double span = next->first - here->first, u = (frame - here->first) / span;
  const double rise = next->second - here->second;
  if (ease == Ease::linear) return here->second + u * rise;
  // Monotone cubic: the slope at a key is the harmonic mean of the slopes beside it (Fritsch and Butland 1984), zero at
  // turning points and at the ends.
  auto slope = [this](std::map<int, double>::const_iterator k) {
    if (k == keys.begin() || std::next(k) == keys.end()) return 0.0;
    const auto a = std::prev(k), b = std::next(k);
    const double before = (k->second - a->second) / (k->first - a->first);
    const double after = (b->second - k->second) / (b->first - k->first);
    return before * after <= 0 ? 0.0 : 2 * before * after / (before + after);
  };
  const double m0 = slope(here) * span, m1 = slope(next) * span, u2 = u * u, u3 = u2 * u;
  return here->second + rise * (3 * u2 - 2 * u3) + m0 * (u3 - 2 * u2 + u) + m1 * (u3 - u2);
}

std::string_view value_type_name(const Value& v) {
  constexpr std::string_view n[] = {"true or false",       "a whole number",    "a number",
                                    "a text in quotes",    "a number",          "a list of frames",
                                    "a list of numbers",   "a list of points",  "a table of frames and path data",
                                    "a frame or \"auto\"", "a list of outlines"};
  return n[v.index()];
}

namespace {

std::string number(double x) {
  if (std::isnan(x)) return "nan";
  if (std::isinf(x)) return x > 0 ? "inf" : "-inf";
  std::string s = fmt::format("{}", x);  // Shortest text that reads back as the same double.
  if (s.find_first_of(".en") == std::string::npos) s += ".0";
  return s;
}

std::string quoted(std::string_view s) {
  std::string out = "\"";
  for (unsigned char c : s) {
    if (c == '"' || c == '\\')
      out += '\\', out += static_cast<char>(c);
    else if (c < 0x20 || c == 0x7f)
      out += fmt::format("\\u{:04X}", c);
    else
      out += static_cast<char>(c);
  }
  return out + "\"";
}

struct Writer {
  std::string operator()(bool b) const { return b ? "true" : "false"; }
  std::string operator()(int64_t i) const { return std::to_string(i); }
  std::string operator()(double d) const { return number(d); }
  std::string operator()(const std::string& s) const { return quoted(s); }
  std::string operator()(const Animated& a) const {
    if (a.keys.empty()) return number(a.value);
    std::string s = "{ ";
    for (const auto& [frame, v] : a.keys) s += fmt::format("{} = {}, ", frame, number(v));
    if (a.ease == Ease::smooth) return s + "ease = \"smooth\" }";
    s.resize(s.size() - 2);
    return s + " }";
  }
  template <class T, class F>
  static std::string list(const std::vector<T>& v, F item) {
    std::string s = "[";
    for (size_t i = 0; i < v.size(); ++i) s += (i ? ", " : "") + item(v[i]);
    return s + "]";
  }
  std::string operator()(const std::vector<int64_t>& v) const {
    return list(v, [](int64_t i) { return std::to_string(i); });
  }
  std::string operator()(const std::vector<double>& v) const { return list(v, number); }
  std::string operator()(const Polygon& v) const {
    return list(v, [](const Point& p) { return "[" + number(p.x()) + ", " + number(p.y()) + "]"; });
  }
  std::string operator()(const Polygons& v) const {
    return list(v, [this](const Polygon& p) { return (*this)(p); });
  }
  std::string operator()(const PathKeys& keys) const {
    std::string s = "{ ";
    for (const auto& [frame, d] : keys) s += fmt::format("{} = {}, ", frame, quoted(d));
    if (!keys.empty()) s.resize(s.size() - 2);
    return s + " }";
  }
  std::string operator()(const FrameOrAuto& f) const { return f.frame ? std::to_string(*f.frame) : "\"auto\""; }
};

}  // namespace

std::string to_text(const Value& v) { return std::visit(Writer{}, v); }

}  // namespace pw
