#include "comp/matte/combine.h"

#include <cmath>
#include <vector>

namespace pw {
namespace {

constexpr double kDeviation = 0.377964473009;  // Of 6u^5 - 15u^4 + 10u^3's slope over -1 to 1: 2 / sqrt 28.

double deviation(double feather_px) { return kDeviation * feather_px; }

// Weights of the pixels `1 ... reach` away on either side; what is missing to 1 is the middle one's. Each is the
// Gaussian averaged over the pixel, so that thin feathers are right too.
std::vector<float> side_weights(double feather_px) {
  const double sigma = deviation(feather_px);
  const auto up_to = [&](double x) { return 0.5 * std::erf(x / (sigma * std::sqrt(2.0))); };
  const int reach = feather_reach(feather_px);
  const double all = 2 * up_to(reach + 0.5);
  std::vector<float> w;
  for (int i = 1; i <= reach; ++i) w.push_back(static_cast<float>((up_to(i + 0.5) - up_to(i - 0.5)) / all));
  return w;
}

// to[i] = c + sum of w[k] ((left - c) + (right - c)) about the middle c: what is flat stays as it is.
void blur(const float* const* taps, const std::vector<float>& w, float* to, int count) {
  const int reach = static_cast<int>(w.size());
  const float* middle = taps[reach];
  for (int i = 0; i < count; ++i) to[i] = 0;
  for (int k = 0; k < reach; ++k) {
    const float *a = taps[reach - 1 - k], *b = taps[reach + 1 + k];
    for (int i = 0; i < count; ++i) to[i] += w[k] * ((a[i] - middle[i]) + (b[i] - middle[i]));
  }
  for (int i = 0; i < count; ++i) to[i] = middle[i] + to[i];
}

}  // namespace

Picture added(std::span<const Picture> mattes, const Rect& rect) {
  if (mattes.empty()) return Canvas::clear(rect, 1).finish();
  Canvas out = Canvas::copy(mattes[0], rect);
  for (const Picture& m : mattes.subspan(1)) {
    const Rect r = intersect(m.window(), rect);
    for (int y = r.y0; y < r.y1; ++y) {
      float* a = out.at(r.x0, y);
      const float* b = m.at(r.x0, y);
      for (int i = 0; i < r.width(); ++i) a[i] += (1 - a[i]) * b[i];
    }
  }
  return std::move(out).finish();
}

Picture cut(const Picture& from, const Picture& away, const Rect& rect) {
  Canvas out = Canvas::copy(from, rect);
  const Rect r = intersect(away.window(), rect);
  for (int y = r.y0; y < r.y1; ++y) {
    float* a = out.at(r.x0, y);
    const float* b = away.at(r.x0, y);
    for (int i = 0; i < r.width(); ++i) a[i] *= 1 - b[i];
  }
  return std::move(out).finish();
}

Picture inverted(const Picture& matte, const Rect& rect) {
  Canvas out = Canvas::copy(matte, rect);
  for (int y = rect.y0; y < rect.y1; ++y) {
    float* a = out.row(y);
    for (int i = 0; i < rect.width(); ++i) a[i] = 1 - a[i];
  }
  return std::move(out).finish();
}

int feather_reach(double feather_px) {
  return feather_px > 0 ? static_cast<int>(std::ceil(3.2 * deviation(feather_px))) : 0;
}

Picture feathered(const Picture& matte, double feather_px, const Rect& rect) {
  if (!(feather_px > 0) || rect.empty()) return Canvas::copy(matte, rect).finish();
  const std::vector<float> w = side_weights(feather_px);
  const int reach = static_cast<int>(w.size());
  const Picture wide = Canvas::copy(matte, rect.grown(reach)).finish();
  std::vector<const float*> taps(2 * w.size() + 1);

  const Rect tall{rect.x0, rect.y0 - reach, rect.x1, rect.y1 + reach};
  Canvas across(tall, 1);
  for (int y = tall.y0; y < tall.y1; ++y) {
    for (int k = 0; k <= 2 * reach; ++k) taps[k] = wide.at(rect.x0 - reach + k, y);
    blur(taps.data(), w, across.row(y), rect.width());
  }
  Canvas out(rect, 1);
  for (int y = rect.y0; y < rect.y1; ++y) {
    for (int k = 0; k <= 2 * reach; ++k) taps[k] = across.row(y - reach + k);
    blur(taps.data(), w, out.row(y), rect.width());
  }
  return std::move(out).finish();
}

}  // namespace pw
