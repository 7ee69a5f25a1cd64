#include "comp/repair/lift.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <vector>

namespace pw {
namespace {

constexpr float kKnown = 0.5f;   // Alpha from which a clean plate says what stands behind.
constexpr float kWhole = 0.95f;  // Alpha from which a pixel is as good as covered.
constexpr float kDark = 1e-3f;   // Light below which a ratio says nothing.
constexpr float kClose = 100;    // How much more what is seen at half the distance says of what stands behind.
constexpr float kFaint = 1e-6f;  // Weight below which what is around is too far away to say what stands behind.

int reach_of(double deviation) { return deviation > 0 ? static_cast<int>(std::ceil(3 * deviation)) : 0; }

// Weights of a Gaussian from the middle to its reach; sum over both sides 1.
std::vector<float> weights(double deviation) {
  std::vector<double> w{1};
  double sum = 1;
  for (int i = 1; i <= reach_of(deviation); ++i) {
    w.push_back(std::exp(-0.5 * i * i / (deviation * deviation)));
    sum += 2 * w.back();
  }
  std::vector<float> all;
  for (double v : w) all.push_back(static_cast<float>(v / sum));
  return all;
}

// `wide` reaches beyond `rect` as far as the blur.
Picture blurred(const Picture& wide, double deviation, const Rect& rect) {
  const std::vector<float> w = weights(deviation);
  const int reach = static_cast<int>(w.size()) - 1, channels = wide.channels(), n = rect.width() * channels;
  const Rect tall{rect.x0, rect.y0 - reach, rect.x1, rect.y1 + reach};
  Canvas across = Canvas::clear(tall, channels), out = Canvas::clear(rect, channels);
  for (int y = tall.y0; y < tall.y1; ++y)
    for (int k = -reach; k <= reach; ++k) {
      const float* from = wide.at(rect.x0 + k, y);
      float* to = across.row(y);
      for (int i = 0; i < n; ++i) to[i] += w[std::abs(k)] * from[i];
    }
  for (int y = rect.y0; y < rect.y1; ++y)
    for (int k = -reach; k <= reach; ++k) {
      const float* from = across.row(y + k);
      float* to = out.row(y);
      for (int i = 0; i < n; ++i) to[i] += w[std::abs(k)] * from[i];
    }
  return std::move(out).finish();
}

// The three inputs at one pixel; clear outside their windows.
struct Look {
  float c[3] = {0, 0, 0}, b[3] = {0, 0, 0}, a = 0;
  bool known = false;  // What stands behind.
};
class Looks {
 public:
  Looks(const Picture& image, const Picture& clean, const Picture& matte)
      : image_(image), clean_(clean), matte_(matte) {}
  Look at(int x, int y) const {
    Look l;
    if (matte_.window().contains(x, y)) l.a = std::clamp(*matte_.at(x, y), 0.f, 1.f);
    light(image_, x, y, l.c);
    l.known = light(clean_, x, y, l.b);
    return l;
  }

 private:
  static bool light(const Picture& p, int x, int y, float* to) {
    if (!p.window().contains(x, y)) return false;
    const float* v = p.at(x, y);
    const float alpha = p.channels() == 4 ? v[3] : 1;
    if (alpha < kKnown) return false;
    for (int k = 0; k < 3; ++k) to[k] = alpha == 1 ? v[std::min(k, p.channels() - 1)] : v[k] / alpha;
    return true;
  }
  const Picture &image_, &clean_, &matte_;
};

// Each channel's least where the thing covers a pixel nearly wholly, around (x, y).
std::optional<std::array<float, 3>> least_around(const Looks& looks, int x, int y, int reach) {
  std::optional<std::array<float, 3>> least;
  for (int j = y - reach; j <= y + reach; ++j)
    for (int i = x - reach; i <= x + reach; ++i) {
      const Look l = looks.at(i, j);
      if (l.a < kWhole) continue;
      if (!least) least = {l.c[0], l.c[1], l.c[2]};
      for (int k = 0; k < 3; ++k) (*least)[k] = std::min((*least)[k], l.c[k]);
    }
  return least;
}

}  // namespace

int lift_reach(const LiftOptions& o) { return reach_of(o.near_px / 2); }
int lift_shadow_reach(const LiftOptions& o) { return reach_of(o.shadow_soft_px / 2); }

Picture lifted(const Picture& image, const Picture& clean, const Picture& matte, const LiftOptions& o,
               const Rect& rect) {
  const Looks looks(image, clean, matte);
  const Rect wide = rect.grown(lift_reach(o));
  Canvas weighted = Canvas::clear(wide, 4);  // a^2 (C - (1 - a) B) and a^3.
  for (int y = wide.y0; y < wide.y1; ++y)
    for (int x = wide.x0; x < wide.x1; ++x) {
      const Look l = looks.at(x, y);
      if (l.a <= 0 || (!l.known && l.a < 1)) continue;
      float* w = weighted.at(x, y);
      for (int k = 0; k < 3; ++k) w[k] = l.a * l.a * (l.c[k] - (1 - l.a) * l.b[k]);
      w[3] = l.a * l.a * l.a;
    }
  const Picture nearby = blurred(std::move(weighted).finish(), o.near_px / 2, rect);
  const float steady = static_cast<float>(o.steady * o.steady);
  Canvas out = Canvas::clear(rect, 4);
  for (int y = rect.y0; y < rect.y1; ++y)
    for (int x = rect.x0; x < rect.x1; ++x) {
      const Look l = looks.at(x, y);
      if (l.a <= 0) continue;
      float* to = out.at(x, y);
      to[3] = l.a;
      if (l.a >= 1) {
        std::copy_n(l.c, 3, to);
        continue;
      }
      const float* n = nearby.at(x, y);
      const bool any = n[3] > 1e-12f;
      const float pull = any ? steady * (1 - l.a) : 0;
      const auto seen = o.guessed ? least_around(looks, x, y, lift_reach(o)) : std::nullopt;
      for (int k = 0; k < 3; ++k) {
        const float near = any ? std::max(0.f, n[k] / n[3]) : 0;
        float own = l.known ? (l.a * (l.c[k] - (1 - l.a) * l.b[k]) + pull * near) / (l.a * l.a + pull) : near;
        if (seen) own = std::max(own, (*seen)[k]);
        to[k] = l.a * std::max(0.f, own);
      }
    }
  return std::move(out).finish();
}

Picture guessed_behind(const Picture& image, const Picture& matte, const LiftOptions& o, const Rect& rect) {
  const Looks looks(image, image, matte);
  const Rect wide = rect.grown(lift_reach(o));
  Canvas weighted = Canvas::clear(wide, 4);
  for (int y = wide.y0; y < wide.y1; ++y)
    for (int x = wide.x0; x < wide.x1; ++x) {
      const Look l = looks.at(x, y);
      if (!l.known) continue;
      float w = 1 - l.a;
      w *= w, w *= w, w *= w;
      for (int k = 0; k < 3; ++k) weighted.at(x, y)[k] = w * l.c[k];
      weighted.at(x, y)[3] = w;
    }
  const Picture all = std::move(weighted).finish();
  const Picture around = blurred(all, o.near_px / 2, rect), close = blurred(all, o.near_px / 4, rect);
  Canvas out = Canvas::clear(rect, 4);
  for (int y = rect.y0; y < rect.y1; ++y)
    for (int x = rect.x0; x < rect.x1; ++x) {
      if (around.at(x, y)[3] <= kFaint) continue;
      float v[4];
      for (int k = 0; k < 4; ++k) v[k] = around.at(x, y)[k] + kClose * close.at(x, y)[k];
      float* to = out.at(x, y);
      for (int k = 0; k < 3; ++k) to[k] = v[k] / v[3];
      to[3] = 1;
    }
  return std::move(out).finish();
}

Picture lifted_shadow(const Picture& image, const Picture& clean, const Picture& matte, const Picture& shadow,
                      const LiftOptions& o, const Rect& rect) {
  const Looks looks(image, clean, matte);
  const double deviation = o.shadow_soft_px / 2;
  const Rect wide = rect.grown(lift_shadow_reach(o));
  Canvas lit = Canvas::clear(wide, 3), bare = Canvas::clear(wide, 3);
  for (int y = wide.y0; y < wide.y1; ++y)
    for (int x = wide.x0; x < wide.x1; ++x) {
      const Look l = looks.at(x, y);
      if (!l.known) continue;
      for (int k = 0; k < 3; ++k) {
        lit.at(x, y)[k] = (1 - l.a) * (std::max(0.f, l.c[k]) + kDark);
        bare.at(x, y)[k] = (1 - l.a) * (std::max(0.f, l.b[k]) + kDark);
      }
    }
  const Picture c = blurred(std::move(lit).finish(), deviation, rect),
                b = blurred(std::move(bare).finish(), deviation, rect);
  Canvas out = Canvas::clear(rect, 4);
  const Rect inside = intersect(rect, shadow.window());
  for (int y = inside.y0; y < inside.y1; ++y)
    for (int x = inside.x0; x < inside.x1; ++x) {
      const float s = std::clamp(*shadow.at(x, y), 0.f, 1.f) * (1 - looks.at(x, y).a);
      if (s <= 0) continue;
      float* to = out.at(x, y);
      to[3] = s;
      for (int k = 0; k < 3; ++k) {
        const float behind = b.at(x, y)[k];
        to[k] = s * (behind > 0 ? std::clamp(c.at(x, y)[k] / behind, 0.f, 1.f) : 1);
      }
    }
  return std::move(out).finish();
}

}  // namespace pw
