#include "comp/spec/kind.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "comp/spec/nearest.h"

namespace pw {

Rect Shot::canvas() const {
  return Rect::sized(static_cast<int>(std::ceil(width * scale - 1e-9)),
                     static_cast<int>(std::ceil(height * scale - 1e-9)));
}

Matrix3 Shot::scaled(const Matrix3& full_size) const {
  if (scale == 1) return full_size;
  return scaling(scale, scale) * full_size * scaling(1 / scale, 1 / scale);
}

std::string Shot::path(const std::string& file) const {
  if (file.empty() || folder.empty() || std::filesystem::path(file).is_absolute()) return file;
  return (std::filesystem::path(folder) / file).lexically_normal().string();
}

std::string_view name(Family f) {
  constexpr std::string_view n[] = {"source", "maker", "measure", "bake", "sink"};
  return n[static_cast<int>(f)];
}

const Param* Kind::param(std::string_view key) const {
  for (const Param& p : params)
    if (p.name == key) return &p;
  return nullptr;
}

int Kind::input(std::string_view key) const {
  for (size_t i = 0; i < inputs.size(); ++i)
    if (inputs[i].name == key) return static_cast<int>(i);
  return -1;
}

int Kind::output(std::string_view key) const {
  for (size_t i = 0; i < outputs.size(); ++i)
    if (outputs[i].name == key || (key.empty() && i == 0)) return static_cast<int>(i);
  return -1;
}

const Kind* find_kind(Kinds kinds, std::string_view name) {
  for (const Kind& k : kinds)
    if (k.name == name) return &k;
  return nullptr;
}

namespace {

std::string limit_text(const Param& p, double x) {
  const bool bare = p.say.unit == Unit::none || p.say.unit == Unit::fraction;
  const std::string unit = bare ? "" : fmt::format(" {}", name(p.say.unit));
  const bool low = std::isfinite(p.say.min), high = std::isfinite(p.say.max);
  const std::string value = std::isnan(x) ? "not a number" : fmt::format("{}{}", x, unit);
  if (low && high) return fmt::format("{} is {}; it may be {} to {}{}", p.name, value, p.say.min, p.say.max, unit);
  if (low) return fmt::format("{} is {}; it may be {}{} or more", p.name, value, p.say.min, unit);
  if (high) return fmt::format("{} is {}; it may be {}{} or less", p.name, value, p.say.max, unit);
  return fmt::format("{} is {}; it must be a number", p.name, value);
}

}  // namespace

std::optional<std::string> beyond_choices(const Param& p, const Value& v) {
  const auto* s = std::get_if<std::string>(&v);
  if (!p.say.beyond || !s || std::ranges::find(p.say.choices, *s) != p.say.choices.end()) return std::nullopt;
  return *s;
}

std::string complaint(const Param& p, const Value& v) {
  if (v.index() != p.fallback.index())
    return fmt::format("{} is {}; it takes {}", p.name, value_type_name(v), value_type_name(p.fallback));
  auto outside = [&](double x) { return !(x >= p.say.min && x <= p.say.max) || !std::isfinite(x); };
  if (const auto* d = std::get_if<double>(&v)) {
    if (outside(*d)) return limit_text(p, *d);
  } else if (const auto* i = std::get_if<int64_t>(&v)) {
    if (outside(static_cast<double>(*i))) return limit_text(p, static_cast<double>(*i));
  } else if (const auto* f = std::get_if<FrameOrAuto>(&v)) {
    if (f->frame && outside(static_cast<double>(*f->frame))) return limit_text(p, static_cast<double>(*f->frame));
  } else if (const auto* a = std::get_if<Animated>(&v)) {
    if (a->keys.empty() && outside(a->value)) return limit_text(p, a->value);
    for (const auto& [frame, x] : a->keys)
      if (outside(x)) return fmt::format("{} (frame {})", limit_text(p, x), frame);
  } else if (const auto* s = std::get_if<std::string>(&v); s && !p.say.choices.empty()) {
    const std::vector<std::string> names(p.say.choices.begin(), p.say.choices.end());
    if (std::find(names.begin(), names.end(), *s) == names.end()) {
      const std::string meant = nearest(*s, names);
      return fmt::format("{} is \"{}\"; {}it may be {}", p.name, *s,
                         meant.empty() ? "" : fmt::format("did you mean \"{}\"? ", meant), fmt::join(names, ", "));
    }
  } else if (const auto* numbers = std::get_if<std::vector<double>>(&v)) {
    for (double x : *numbers)
      if (outside(x)) return limit_text(p, x);
  } else if (const auto* frames = std::get_if<std::vector<int64_t>>(&v)) {
    for (int64_t f : *frames)
      if (outside(static_cast<double>(f))) return limit_text(p, static_cast<double>(f));
  } else if (const auto* polygon = std::get_if<Polygon>(&v)) {
    for (const Point& q : *polygon)
      if (!q.allFinite()) return fmt::format("{} has a corner that is not a number", p.name);
  } else if (const auto* polygons = std::get_if<Polygons>(&v)) {
    for (const Polygon& outline : *polygons)
      for (const Point& q : outline)
        if (!q.allFinite()) return fmt::format("{} has a corner that is not a number", p.name);
  }
  return {};
}

}  // namespace pw
