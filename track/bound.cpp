#include "track/bound.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "track/normal.h"
#include "track/region.h"

namespace pw {
namespace {

double linear(double code) { return code <= 0.04045 ? code / 12.92 : std::pow((code + 0.055) / 1.055, 2.4); }
double slope(double light) { return light <= 0.0031308 ? 12.92 : 1.055 / 2.4 * std::pow(light, 1 / 2.4 - 1); }

// Value between pixels; `p` must lie half a pixel or more inside.
double bilinear(const Picture& picture, const Point& p, int channel) {
  const double x = p.x() - 0.5, y = p.y() - 0.5;
  const int ix = std::min(int(x), picture.window().x1 - 2), iy = std::min(int(y), picture.window().y1 - 2);
  const double u = x - ix, v = y - iy;
  const float *a = picture.at(ix, iy) + channel, *b = picture.at(ix, iy + 1) + channel;
  const int c = picture.channels();
  return (1 - v) * ((1 - u) * a[0] + u * a[c]) + v * ((1 - u) * b[0] + u * b[c]);
}

struct Side {
  const Picture &own, &own_sigma, &other, &other_sigma;
  Matrix3 other_from_own;
};

// Covariance of the motion, which moves points of the reference; `own_is_frame` says whose pixels are summed.
std::optional<Eigen::Matrix<double, kMotion, kMotion>> covariance(const Side& s, const BoundInput& in,
                                                                  bool own_is_frame, const Point& centre,
                                                                  double radius) {
  const Rect picture = s.own.window();
  std::vector<Point> polygon;
  for (const Point& p : in.region) polygon.push_back(own_is_frame ? map(in.frame_from_ref, p) : p);
  const Rect window = intersect(bounds(polygon), picture.grown(-2));
  if (window.empty()) return std::nullopt;
  const std::vector<float> share = coverage(polygon, window);
  const int channels = s.own.channels();
  constexpr int kAll = kMotion + 6;
  Eigen::Matrix<double, kAll, kAll> information = Eigen::Matrix<double, kAll, kAll>::Zero();
  size_t i = 0;
  for (int y = window.y0; y < window.y1; ++y)
    for (int x = window.x0; x < window.x1; ++x, ++i) {
      if (!(share[i] > 0)) continue;
      const Point here(x + 0.5, y + 0.5), there = map(s.other_from_own, here);
      if (!(there.x() > 0.5 && there.y() > 0.5 && there.x() < picture.x1 - 0.5 && there.y() < picture.y1 - 0.5))
        continue;
      const Point in_frame = own_is_frame ? here : there, in_reference = own_is_frame ? there : here;
      if (!in.hidden.empty() && *in.hidden.at(int(in_frame.x()), int(in_frame.y())) > 0.02f) continue;
      const Eigen::Matrix2d a = jacobian(s.other_from_own, here);
      const double density = std::abs(a.determinant());
      Eigen::Matrix<double, 2, kMotion> moves = motion_jacobian(in_reference, centre, radius);
      if (own_is_frame) moves = jacobian(in.frame_from_ref, in_reference) * moves;
      for (int c = 0; c < channels; ++c) {
        const auto at = [&](int dx, int dy) { return double(s.own.at(x + dx, y + dy)[c]); };
        const Eigen::RowVector2d gradient((8 * (at(1, 0) - at(-1, 0)) - at(2, 0) + at(-2, 0)) / 12,
                                          (8 * (at(0, 1) - at(0, -1)) - at(0, 2) + at(0, -2)) / 12);
        const double light = linear(at(0, 0)), other_light = linear(bilinear(s.other, there, c));
        // d own code / d other code, when own light is a gain times the other's.
        const double carried =
            slope(light) * std::max(light, 1e-4) / (slope(other_light) * std::max(other_light, 1e-4));
        const double sigma = s.own_sigma.at(x, y)[c], other_sigma = carried * bilinear(s.other_sigma, there, c);
        const double variance = sigma * sigma + other_sigma * other_sigma / density;
        Eigen::Matrix<double, 1, kAll> j = Eigen::Matrix<double, 1, kAll>::Zero();
        j.head<kMotion>() = gradient * moves;
        j(kMotion + 2 * c) = slope(light) * light;
        j(kMotion + 2 * c + 1) = slope(light);
        information += j.transpose() * j * (share[i] / variance);
      }
    }
  for (int c = channels; c < 3; ++c)
    for (int k = 0; k < 2; ++k) information(kMotion + 2 * c + k, kMotion + 2 * c + k) = 1;
  const Eigen::LDLT<Eigen::Matrix<double, kAll, kAll>> solver(information);
  // Eight numbers are fixed when each is known to better than a thousand pixels.
  const Eigen::Matrix<double, kAll, kAll> inverse = solver.solve(Eigen::Matrix<double, kAll, kAll>::Identity());
  const auto motion = inverse.topLeftCorner<kMotion, kMotion>();
  if (!motion.allFinite() || !(motion.diagonal().minCoeff() > 0) || !(motion.diagonal().maxCoeff() < 1e6))
    return std::nullopt;
  return Eigen::Matrix<double, kMotion, kMotion>(motion);
}

}  // namespace

std::optional<double> corner_bound(const BoundInput& in) {
  Point centre(0, 0);
  for (const Point& p : in.region) centre += p / double(in.region.size());
  double radius = 1;
  for (const Point& p : in.region) radius = std::max(radius, (p - centre).norm());
  const Side frame{in.frame, in.frame_sigma, in.reference, in.reference_sigma, inverted(in.frame_from_ref)};
  const Side reference{in.reference, in.reference_sigma, in.frame, in.frame_sigma, in.frame_from_ref};
  std::optional<double> bound;
  for (bool own_is_frame : {true, false}) {
    const auto cov = covariance(own_is_frame ? frame : reference, in, own_is_frame, centre, radius);
    if (!cov) return std::nullopt;
    double sum = 0;
    for (const Point& p : in.region) {
      const Eigen::Matrix<double, 2, kMotion> j = jacobian(in.frame_from_ref, p) * motion_jacobian(p, centre, radius);
      sum += (j * *cov * j.transpose()).trace();
    }
    bound = std::max(bound.value_or(0), std::sqrt(sum / double(in.region.size())));
  }
  return bound;
}

}  // namespace pw
