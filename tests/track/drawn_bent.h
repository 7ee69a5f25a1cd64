// The drawn footage of this room (drawn.h) as a camera with a bent lens or slow rows sees it.
#pragma once
#include <functional>
#include <map>

#include "tests/track/drawn.h"

namespace pw::drawn {

// Footage of a plane through a lens, rows one after the other, and where corners are seen: by formula, with nothing of
// the project's lens.
struct Bent final : PlaneFrames {
  int width = 200, height = 160, from = 1, to = 4;
  double k1 = 0, k2 = 0, readout = 0, grain = 0, scale = 1;
  std::function<Matrix3(double t)> frame_from_plane = [](double t) { return handheld(t - 1); };

  int first() const override { return from; }
  int last() const override { return to; }
  double shutter_deg() const override { return 0; }
  // The ideal point that is seen at p, by repeated division.
  Point ideal(const Point& p) const {
    const Point c(width / 2.0, height / 2.0), d = p - c;
    const double q = d.squaredNorm() / (0.25 * (width * width + height * height));
    double s = 1;
    for (int i = 0; i < 14; ++i) s = 1 + k1 * q / (s * s) + k2 * q * q / (s * s * s * s);
    return c + d / s;
  }
  double time(int frame, double y) const { return frame + readout * (y / height - 0.5); }
  Point plane(int frame, const Point& p) const { return map(inverted(frame_from_plane(time(frame, p.y()))), ideal(p)); }
  // Where a point of the plane is seen: by going against what is missing.
  Point seen(int frame, const Point& on_plane, Point guess) const {
    for (int i = 0; i < 60; ++i) {
      const Matrix3 h = frame_from_plane(time(frame, guess.y()));
      guess += map(h, on_plane) - ideal(guess);
    }
    return guess;
  }
  // Drawn once, however often it is asked for.
  mutable std::map<int, Picture> drawn_once;
  Picture image(int frame) const override {
    const auto [it, fresh] = drawn_once.try_emplace(frame);
    if (fresh) it->second = draw(frame);
    return it->second;
  }
  Picture draw(int frame) const {
    Canvas c(Rect::sized(width, height), 3);
    for (int y = 0; y < height; ++y)
      for (int x = 0; x < width; ++x) {
        double sum[3] = {0, 0, 0};
        for (int k = 0; k < 16; ++k) {
          const auto at = [](int i) { return (i / 2 + (i % 2 ? 0.7886751346 : 0.2113248654)) / 2; };
          const Point p = plane(frame, {x + at(k % 4), y + at(k / 4)});
          float rgb[3];
          texture(p.x(), p.y(), rgb);
          for (int q = 0; q < 3; ++q) sum[q] += rgb[q] / 16;
        }
        const RandomBits b = random_bits(7, frame, x, y);
        for (int q = 0; q < 3; ++q) {
          const double noise = q < 2 ? gauss(b[0], b[1])[q] : gauss(b[2], b[3])[0];
          const double v = grain > 0 ? decode(std::max(0.0, encode(sum[q]) + grain * noise)) : sum[q];
          c.at(x, y)[q] = float(scale * v);
        }
      }
    return std::move(c).finish();
  }
  Motion truth(int reference, const std::vector<Point>& region) const {
    Motion m{width, height, reference, region, {}};
    for (int f = from; f <= to; ++f) {
      Pose p{.frame = f};
      for (const Point& c : region) p.corners.push_back(seen(f, plane(reference, c), c));
      m.poses.push_back(std::move(p));
    }
    return m;
  }
};

}  // namespace pw::drawn
