// Small footage with exact truth for the tests of this room: an endless analytic texture seen through a homography,
// every pixel the mean of samples over its square and over the shutter, with light, grain and 8-bit rounding on
// request. It shares no code with the tracker.
#pragma once
#include <array>
#include <cmath>
#include <functional>

#include "base/motion.h"
#include "base/picture.h"
#include "base/random.h"
#include "track/plane.h"

namespace pw::drawn {

// One size of blobs and stripes.
struct Octave {
  double cosine, sine, period, phase, strength, colour[3];
};
inline const std::array<Octave, 9>& octaves() {
  static const std::array<Octave, 9> all = [] {
    std::array<Octave, 9> made;
    for (int k = 0; k < 9; ++k) {
      const double angle = 0.7 + 2.4 * k, period = 5.5 * std::pow(1.45, k);
      made[k] = {std::cos(angle), std::sin(angle), period, 1.7 * k * k, std::pow(period, 0.25), {}};
      for (int c = 0; c < 3; ++c) made[k].colour[c] = 1 + 0.35 * std::sin(2.0 * k + 2.1 * c);
    }
    return made;
  }();
  return all;
}

// Linear light at a point of the reference's plane: blobs and stripes of several sizes and directions, 0.03 to 0.9.
inline void texture(double x, double y, float* rgb) {
  double sum[3] = {0, 0, 0};
  for (const Octave& o : octaves()) {
    const double u = (x * o.cosine + y * o.sine) * 2 * M_PI / o.period;
    const double bend = 1.5 * std::sin((x * o.sine - y * o.cosine) * 2 * M_PI / (2.3 * o.period) + o.phase);
    const double wave = std::sin(u + bend + o.phase) * o.strength;
    for (int c = 0; c < 3; ++c) sum[c] += wave * o.colour[c];
  }
  for (int c = 0; c < 3; ++c) rgb[c] = float(0.03 + 0.87 / (1 + std::exp(-0.35 * sum[c])));
}

inline double encode(double v) { return v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1 / 2.4) - 0.055; }
inline double decode(double v) { return v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4); }

struct Scene final : PlaneFrames {
  int width = 200, height = 160, from = 1, to = 4, channels = 3;
  double shutter = 0, grain = 0, scale = 1;  // Degrees; sigma in code values; factor on all light.
  bool rounded = false;
  int fine = 2;  // Parts of each side of a pixel, in each of which Gauss's two-point rule is taken.
  std::function<Matrix3(double t)> frame_from_plane = [](double) { return Matrix3(Matrix3::Identity()); };
  std::function<void(double x, double y, float* rgb)> paint = texture;  // Of the plane.
  std::function<double(int frame, double x, double y)> gain;            // Of the picture's place.
  std::function<bool(double t, double x, double y, float* rgb)> cover;  // Passes in front; picture's place.
  std::function<bool(int frame, double x, double y)> ignored;

  int first() const override { return from; }
  int last() const override { return to; }
  double shutter_deg() const override { return shutter; }
  Matrix3 frame_from_ref(int frame, int reference) const {
    return normalised(frame_from_plane(frame) * inverted(frame_from_plane(reference)));
  }
  Picture image(int frame) const override {
    Canvas c(Rect::sized(width, height), channels);
    const int n = 2 * fine, times = shutter > 0 ? 12 : 1;
    std::vector<Matrix3> plane_from_frame;
    for (int k = 0; k < times; ++k)
      plane_from_frame.push_back(inverted(frame_from_plane(frame + ((k + 0.5) / times - 0.5) * shutter / 360)));
    for (int y = 0; y < height; ++y)
      for (int x = 0; x < width; ++x) {
        double sum[3] = {0, 0, 0};
        for (int k = 0; k < times; ++k)
          for (int j = 0; j < n; ++j)
            for (int i = 0; i < n; ++i) {
              const auto at = [&](int k) { return (k / 2 + (k % 2 ? 0.7886751346 : 0.2113248654)) / fine; };
              const double px = x + at(i), py = y + at(j);
              float rgb[3];
              const double t = frame + ((k + 0.5) / times - 0.5) * shutter / 360;
              if (!cover || !cover(t, px, py, rgb)) {
                const Point p = map(plane_from_frame[k], {px, py});
                paint(p.x(), p.y(), rgb);
              }
              for (int q = 0; q < 3; ++q) sum[q] += rgb[q];
            }
        const auto noise = [&](int q) {
          const RandomBits b = random_bits(99, frame, x, y);
          return q < 2 ? gauss(b[0], b[1])[q] : gauss(b[2], b[3])[0];
        };
        for (int q = 0; q < channels; ++q) {
          double v = scale * sum[q] / (n * n * times) * (gain ? gain(frame, x + 0.5, y + 0.5) : 1);
          if (grain > 0) v = decode(std::max(0.0, encode(v) + grain * noise(q)));
          if (rounded) v = decode(std::round(std::clamp(encode(v), 0.0, 1.0) * 255) / 255);
          c.at(x, y)[q] = float(v);
        }
      }
    return std::move(c).finish();
  }
  Picture ignore(int frame) const override {
    if (!ignored) return {};
    Canvas c(Rect::sized(width, height), 1);
    for (int y = 0; y < height; ++y)
      for (int x = 0; x < width; ++x) *c.at(x, y) = ignored(frame, x + 0.5, y + 0.5) ? 1.f : 0.f;
    return std::move(c).finish();
  }
  Motion truth(int reference, const std::vector<Point>& region) const {
    Motion m{width, height, reference, region, {}};
    for (int f = from; f <= to; ++f) m.poses.push_back({f, frame_from_ref(f, reference)});
    return m;
  }
};

// A slow turn, growth and tilt about the picture's middle, with a drift.
inline Matrix3 handheld(double t, double cx = 100, double cy = 80) {
  const double a = 0.012 * t, s = 1 + 0.01 * t;
  Matrix3 m;
  m << s * std::cos(a), -s * std::sin(a), 1.3 * t, s * std::sin(a), s * std::cos(a), -0.7 * t, 1e-5 * t * t, -2e-5 * t,
      1;
  return normalised(translation(cx, cy) * m * translation(-cx, -cy));
}

inline std::vector<Point> box(double x0, double y0, double x1, double y1) {
  return {{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}};
}

}  // namespace pw::drawn
