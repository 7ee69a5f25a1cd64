#include "comp/colour/cdl.h"

#include <algorithm>

#include "base/elementary.h"

namespace pw {
namespace {

constexpr float kMost = 1e36f;  // Absurd corrections of absurd light stay finite.

struct Numbers {
  explicit Numbers(const Cdl& c) : saturation(static_cast<float>(c.saturation)) {
    for (int k = 0; k < 3; ++k) {
      slope[k] = static_cast<float>(c.slope[k]);
      offset[k] = static_cast<float>(c.offset[k]);
      power[k] = static_cast<float>(c.power[k]);
    }
  }
  float slope[3], offset[3], power[3], saturation;
};

std::array<double, 3> three(std::span<const double> v) {
  return v.size() == 3 ? std::array{v[0], v[1], v[2]} : std::array{v[0], v[0], v[0]};
}

float held(float v) { return v < 0 ? 0.f : v > 1 ? 1.f : v; }

void correct_row(const Numbers& n, bool clamp, float* rgb, int count) {
  for (int i = 0; i < count; ++i, rgb += 3) {
    for (int k = 0; k < 3; ++k) {
      float v = rgb[k] * n.slope[k] + n.offset[k];
      if (clamp) v = held(v);
      if (n.power[k] != 1 && v > 0) v = pow(v, n.power[k]);
      rgb[k] = std::clamp(v, -kMost, kMost);
    }
    if (n.saturation != 1) {
      const float luma = 0.2126f * rgb[0] + 0.7152f * rgb[1] + 0.0722f * rgb[2];
      for (int k = 0; k < 3; ++k) rgb[k] = std::clamp(luma + n.saturation * (rgb[k] - luma), -kMost, kMost);
    }
    if (clamp)
      for (int k = 0; k < 3; ++k) rgb[k] = held(rgb[k]);
  }
}

}  // namespace

std::vector<double> ten_numbers(const Cdl& cdl) {
  std::vector<double> all;
  for (const auto& numbers : {cdl.slope, cdl.offset, cdl.power}) all.insert(all.end(), numbers.begin(), numbers.end());
  all.push_back(cdl.saturation);
  return all;
}

Cdl from_ten_numbers(std::span<const double> n) {
  return {{n[0], n[1], n[2]}, {n[3], n[4], n[5]}, {n[6], n[7], n[8]}, n[9]};
}

Cdl from_lists(std::span<const double> slope, std::span<const double> offset, std::span<const double> power,
               double saturation) {
  return {three(slope), three(offset), three(power), saturation};
}

Picture corrected(const Picture& image, const Cdl& cdl, const CdlOptions& options, const Rect& rect) {
  const Rect r = intersect(image.window(), rect);
  if (r.empty() || (cdl == Cdl{} && !options.clamp)) return image.cropped(rect);
  const Numbers numbers(cdl);
  const int channels = image.channels(), width = r.width();
  const bool has_alpha = channels == 4;
  Canvas out(r, has_alpha ? 4 : 3);
  std::vector<float> rgb(size_t{3} * width);
  for (int y = r.y0; y < r.y1; ++y) {
    const float* in = image.at(r.x0, y);
    for (int i = 0; i < width; ++i)
      for (int k = 0; k < 3; ++k) {
        const float v = in[i * channels + std::min(k, channels - 1)], a = has_alpha ? in[4 * i + 3] : 1;
        rgb[3 * i + k] = a > 0 ? v / a : v;
      }
    if (options.to_space)
      transform(*options.to_space, rgb.data(), static_cast<size_t>(width), 3);
    else if (options.space != Encoding::linear)
      encode(options.space, rgb.data(), rgb.data(), rgb.size());
    correct_row(numbers, options.clamp, rgb.data(), width);
    if (options.from_space)
      transform(*options.from_space, rgb.data(), static_cast<size_t>(width), 3);
    else if (options.space != Encoding::linear)
      decode(options.space, rgb.data(), rgb.data(), rgb.size());
    float* to = out.row(y);
    if (!has_alpha) {
      std::copy(rgb.begin(), rgb.end(), to);
      continue;
    }
    for (int i = 0; i < width; ++i) {
      const float a = in[4 * i + 3];
      for (int k = 0; k < 3; ++k) to[4 * i + k] = a > 0 ? rgb[3 * i + k] * a : in[4 * i + k];
      to[4 * i + 3] = a;
    }
  }
  return std::move(out).finish();
}

}  // namespace pw
