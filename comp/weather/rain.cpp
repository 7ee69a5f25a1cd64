#include "comp/weather/rain.h"

#include <algorithm>
#include <cmath>

#include "base/elementary.h"
#include "comp/weather/drops.h"

namespace pw {
namespace {

constexpr float kWide = 3.5f;  // Deviations beyond which a streak is nothing.
constexpr float kPassedOn = 0.94f, kDiffer = 0.15f;

// The normal distribution's integral, off by 1.4e-4 at most (S. R. Bowling et al., "A logistic approximation to the
// cumulative normal distribution", J. Industrial Engineering and Management 2(1), 2009).
float normal(float x) { return 1 / (1 + exp(-1.5976f * x - 0.07056f * x * x * x)); }

double blur_px(double z, const Rainfall& r, const RainLook& look) {
  return r.focal_px * look.aperture_mm * 1e-3 * std::abs(1 / z - 1 / look.focus_m);
}

// How long a streak is taken for, half: a point is a very short one.
double half_length(const Streak& s) { return std::max(std::hypot(s.long_x, s.long_y), 0.1 * s.deviation_px) / 2; }

// The share of the exposure in its middle, were it endless.
double peak_of(const Streak& s) { return s.share() / (2 * half_length(s)) / (s.deviation_px * std::sqrt(2 * M_PI)); }

bool faint(const Streak& s) { return peak_of(s) * std::min(1.0, 2 * half_length(s) / s.deviation_px) < kFaintestShare; }

// `cover` of the drops from hidden_m on, and of those before it, taken off.
void take_off(Canvas& c, const Surroundings& around, const std::array<double, 3>& light, double behind, double before,
              const Picture* hidden) {
  const Rect w = c.window();
  for (int y = w.y0; y < w.y1; ++y)
    for (int x = w.x0; x < w.x1; ++x) {
      const float shown = hidden && hidden->window().contains(x, y) ? 1 - *hidden->at(x, y) : 1.f;
      const float cover = static_cast<float>(before) + shown * static_cast<float>(behind);
      const std::array<float, 3> all = around.at(x + 0.5, y + 0.5);
      float* p = c.at(x, y);
      for (int k = 0; k < 3; ++k) p[k] -= cover * static_cast<float>(light[k]) * kPassedOn * all[k];
      p[3] -= cover;
    }
}

void hide(Canvas& c, const Picture& matte) {
  const Rect r = intersect(c.window(), matte.window());
  for (int y = r.y0; y < r.y1; ++y) {
    float* p = c.at(r.x0, y);
    const float* m = matte.at(r.x0, y);
    for (int i = 0; i < r.width(); ++i)
      for (int k = 0; k < 4; ++k) p[4 * i + k] *= 1 - m[i];
  }
}

}  // namespace

double Streak::share() const { return M_PI / 4 * width_px * width_px; }

Streak streak_of(const Drop& d, const Rainfall& r, const RainLook& look) {
  const double px_per_m = r.focal_px / d.z, blur = blur_px(d.z, r, look);
  Streak s;
  s.x = r.width / 2.0 + d.x * px_per_m, s.y = r.height / 2.0 + d.y * px_per_m;
  s.long_x = d.sideways * r.exposure_s * px_per_m, s.long_y = d.speed * r.exposure_s * px_per_m;
  s.width_px = d.mm * 1e-3 * px_per_m;
  // A disc of diameter w seen from the side has the deviation w / 4.
  s.deviation_px = std::sqrt(kLensSpreadPx * kLensSpreadPx + (s.width_px * s.width_px + blur * blur) / 16);
  return s;
}

double mean_cover(const Rainfall& r, const RainLook& look, double rain_mm_h, double near_m, double far_m) {
  constexpr int kSteps = 64;
  if (!(rain_mm_h > 0) || !(far_m > near_m) || !(r.focal_px > 0)) return 0;
  const double slope = drop_slope(std::min(rain_mm_h, kHeaviestRain));
  const double dz = (far_m - near_m) / kSteps, dmm = (kLargestDrop - kSmallestDrop) / kSteps;
  double sum = 0;
  for (int i = 0; i < kSteps; ++i)
    for (int j = 0; j < kSteps; ++j) {
      Drop d{};
      d.z = near_m + (i + 0.5) * dz, d.mm = static_cast<float>(kSmallestDrop + (j + 0.5) * dmm);
      d.speed = fall_speed(d.mm), d.sideways = static_cast<float>(r.wind_m_s);
      const Streak s = streak_of(d, r, look);
      if (faint(s)) continue;
      const double metres_per_px = d.z / r.focal_px;
      sum +=
          kDropsAtZero * exp(static_cast<float>(-slope * d.mm)) * dmm * dz * metres_per_px * metres_per_px * s.share();
    }
  return std::min(1.0, sum);
}

std::array<double, 3> light_that_adds(const std::array<double, 3>& share, const Rainfall& r, const RainLook& look,
                                      double rain_mm_h) {
  const double cover = mean_cover(r, look, rain_mm_h, r.near_m, r.far_m);
  if (!(cover > 0)) return {};
  std::array<double, 3> light;
  for (int k = 0; k < 3; ++k) light[k] = share[k] / (cover * double(kPassedOn));
  return light;
}

void lay_streak(const Streak& s, const float light[3], Canvas& to) {
  const double length = std::hypot(s.long_x, s.long_y), sigma = s.deviation_px;
  const double ux = length > 0 ? s.long_x / length : 0, uy = length > 0 ? s.long_y / length : 1;
  const double reach = kWide * sigma, half = half_length(s), peak = peak_of(s);
  // Density: (N((along + half) / sigma) - N((along - half) / sigma)) / (2 half) times a Gaussian across.
  if (faint(s)) return;
  const double bx = std::abs(s.long_x) / 2 + reach, by = std::abs(s.long_y) / 2 + reach;
  const auto pixel = [](double v) { return static_cast<int>(std::floor(std::clamp(v, -1e8, 1e8))); };
  const Rect box = intersect(to.window(), {pixel(s.x - bx), pixel(s.y - by), pixel(s.x + bx) + 1, pixel(s.y + by) + 1});
  const float inverse = static_cast<float>(1 / sigma), h = static_cast<float>(half / sigma),
              top = static_cast<float>(peak);
  for (int y = box.y0; y < box.y1; ++y) {
    const double dy = y + 0.5 - s.y;
    // Along a row the streak is where it is not farther than `reach` across.
    int x0 = box.x0, x1 = box.x1;
    if (std::abs(uy) > 1e-3) {
      const double middle = s.x + dy * ux / uy, wide = reach / std::abs(uy);
      x0 = std::max(x0, pixel(middle - wide)), x1 = std::min(x1, pixel(middle + wide) + 1);
    }
    for (int x = x0; x < x1; ++x) {
      const double dx = x + 0.5 - s.x;
      const float across = static_cast<float>(dx * uy - dy * ux) * inverse;
      const float along = static_cast<float>(dx * ux + dy * uy) * inverse;
      if (std::abs(across) > kWide || std::abs(along) > h + kWide) continue;
      const bool at_end = std::abs(along) > h - kWide;  // Elsewhere all of it lies ahead or behind.
      const float lengthwise = at_end ? std::max(0.f, normal(along + h) - normal(along - h)) : 1.f;
      const float share = std::min(1.f, top * exp(-0.5f * across * across) * lengthwise);
      float* p = to.at(x, y);
      for (int k = 0; k < 3; ++k) p[k] += share * (light[k] - p[k]);
      p[3] += share * (1 - p[3]);
    }
  }
}

Picture rain(const Rainfall& r, const RainLook& look, const Surroundings& around, double rain_mm_h, double time_s,
             const Picture* hidden, double hidden_m, const Rect& rect) {
  Canvas canvas = Canvas::clear(rect, 4);
  const double widest = std::max(blur_px(r.near_m, r, look), blur_px(r.far_m, r, look)) / 4;
  const double margin = kWide * (kLensSpreadPx + widest + r.focal_px / r.near_m * 6e-3 / 4) + 1;
  const std::vector<Drop> drops = drops_before(r, rain_mm_h, time_s, rect, margin);
  for (const bool behind : {true, false}) {
    for (const Drop& d : drops) {
      if ((d.z >= hidden_m) != behind) continue;
      const Streak s = streak_of(d, r, look);
      const std::array<float, 3> all = around.at(s.x, s.y);
      const float differs = 1 + kDiffer * (2 * d.chance - 1);
      float light[3];
      for (int k = 0; k < 3; ++k) light[k] = all[k] * (static_cast<float>(look.light[k]) * kPassedOn * differs);
      lay_streak(s, light, canvas);
    }
    if (behind && hidden) hide(canvas, *hidden);
  }
  if (look.keep_level) {
    const double split = std::clamp(hidden_m, r.near_m, r.far_m);
    take_off(canvas, around, look.light, mean_cover(r, look, rain_mm_h, split, r.far_m),
             mean_cover(r, look, rain_mm_h, r.near_m, split), hidden);
  }
  return std::move(canvas).finish();
}

}  // namespace pw
