#include "track/held.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>

#include "track/region.h"
#include "warp/bend.h"

namespace pw {
namespace {

constexpr int kMostSteps = 64;  // Along a path.

// The value at a point, between four pixels; beyond the window its border.
float value_at(const Picture& p, const Point& at, int channel) {
  const Rect& w = p.window();
  const double x = std::clamp(at.x() - 0.5, double(w.x0), w.x1 - 1.0),
               y = std::clamp(at.y() - 0.5, double(w.y0), w.y1 - 1.0);
  const int x0 = static_cast<int>(x), y0 = static_cast<int>(y), x1 = std::min(x0 + 1, w.x1 - 1),
            y1 = std::min(y0 + 1, w.y1 - 1);
  const double u = x - x0, v = y - y0;
  return static_cast<float>((1 - v) * ((1 - u) * p.at(x0, y0)[channel] + u * p.at(x1, y0)[channel]) +
                            v * ((1 - u) * p.at(x0, y1)[channel] + u * p.at(x1, y1)[channel]));
}

// The mean of what a place sees along a path (see Path), at two steps a pixel.
Picture smeared(const Picture& p, const Path& path) {
  const Rect& w = p.window();
  const double length = path.length(w);
  const int steps = std::isfinite(length) ? static_cast<int>(std::min<double>(kMostSteps, std::ceil(2 * length))) : 0;
  if (steps < 2) return p;
  Canvas out = Canvas::clear(w, p.channels());
  for (int y = w.y0; y < w.y1; ++y)
    for (int x = w.x0; x < w.x1; ++x) {
      const Point p0(x + 0.5, y + 0.5), open = map(path.open, p0), close = map(path.close, p0);
      const bool known = open.allFinite() && close.allFinite();
      for (int i = 0; i < steps; ++i) {
        const double t = (2 * i + 1.0) / steps - 1;
        const Point at = known ? Point(p0 + t * (close - open) / 2 + t * t * ((close + open) / 2 - p0)) : p0;
        for (int k = 0; k < p.channels(); ++k) out.at(x, y)[k] += value_at(p, at, k) / static_cast<float>(steps);
      }
    }
  return std::move(out).finish();
}

double root(double light) { return std::sqrt(std::max(0.0, light)); }

}  // namespace

HeldRegion::HeldRegion(const Motion& motion, double shutter_deg, int longest)
    : motion_(motion), shutter_deg_(shutter_deg) {
  Eigen::AlignedBox2d box;
  for (const Point& p : motion.region) box.extend(p);
  const double margin = 0.05 * box.sizes().maxCoeff();
  const Point size = box.sizes().array() + 2 * margin;
  const double scale = std::min(1.0, longest / size.maxCoeff());
  small_from_ref_ = scaling(scale, scale) * translation(margin - box.min().x(), margin - box.min().y());
  const auto pixels = [&](double length) {
    return std::clamp(static_cast<int>(std::lround(length * scale)), 1, longest);
  };
  window_ = Rect::sized(pixels(size.x()), pixels(size.y()));
  std::vector<Point> small;
  for (const Point& p : motion.region) small.push_back(map(small_from_ref_, p));
  inside_ = coverage(small, window_);
}

std::optional<HeldFrame> HeldRegion::hold(const Picture& picture, int f) const {
  Matrix3 frame_from_ref = Matrix3::Identity();
  if (f != motion_.reference) {
    const Pose* pose = motion_.find(f);
    if (!pose || pose->status == TrackStatus::lost) return std::nullopt;
    frame_from_ref = pose->frame_from_ref;
  }
  const Matrix3 ref_from_small = inverted(small_from_ref_), frame_from_small = frame_from_ref * ref_from_small;
  // Where many pixels become one the short filter does, in a fraction of the time.
  const Filter filter = small_from_ref_(0, 0) < 0.5 ? Filter::linear : Filter::sharp;
  const ResampleOptions options{.filter = filter, .edge = Edge::hold};
  const auto frame_from = [&](const Point& small) -> std::optional<Point> {
    if (!motion_.bent()) return map(frame_from_small, small);
    return motion_.seen_between(f, motion_.reference, map(ref_from_small, small));
  };
  HeldFrame held{motion_.bent() ? resample(picture, frame_from, window_, options)
                                : resample(picture, inverted(frame_from_small), window_, options),
                 {},
                 {}};
  const Rect& w = picture.window();
  for (int y = 0; y < window_.y1; ++y)
    for (int x = 0; x < window_.x1; ++x) {
      const auto p = frame_from({x + 0.5, y + 0.5});
      held.seen.push_back(p && p->x() >= w.x0 && p->x() < w.x1 && p->y() >= w.y0 && p->y() < w.y1);
    }
  const Path path = frame_path(motion_, f, shutter_deg_);
  held.path = {small_from_ref_ * path.open * ref_from_small, small_from_ref_ * path.close * ref_from_small};
  return held;
}

Picture HeldRegion::shown(const HeldFrame& held) const {
  Canvas out = Canvas::copy(held.picture, window_);
  for (size_t i = 0; i < held.seen.size(); ++i)
    if (!held.seen[i])
      std::fill_n(out.at(static_cast<int>(i) % window_.x1, static_cast<int>(i) / window_.x1), out.channels(), 0.f);
  return std::move(out).finish();
}

Picture HeldRegion::unlike(const HeldFrame& held, const HeldFrame& reference, double gain) const {
  const Picture a = smeared(held.picture, reference.path), b = smeared(reference.picture, held.path);
  const int channels = std::min(3, a.channels());
  std::array<double, 3> light{}, wanted{}, to_wanted{1, 1, 1};
  for (size_t i = 0; i < inside_.size(); ++i) {
    if (!held.seen[i] || !reference.seen[i]) continue;
    const int x = static_cast<int>(i) % window_.x1, y = static_cast<int>(i) / window_.x1;
    for (int k = 0; k < channels; ++k) light[k] += inside_[i] * a.at(x, y)[k], wanted[k] += inside_[i] * b.at(x, y)[k];
  }
  for (int k = 0; k < channels; ++k)
    if (light[k] > 0 && wanted[k] > 0) to_wanted[k] = wanted[k] / light[k];
  Canvas out = Canvas::clear(window_, 1);
  for (size_t i = 0; i < inside_.size(); ++i) {
    if (!held.seen[i] || !reference.seen[i]) continue;
    const int x = static_cast<int>(i) % window_.x1, y = static_cast<int>(i) / window_.x1;
    double sum = 0;
    for (int k = 0; k < channels; ++k) sum += root(to_wanted[k] * a.at(x, y)[k]) - root(b.at(x, y)[k]);
    *out.at(x, y) = static_cast<float>(0.25 + inside_[i] * (0.25 + gain * sum / channels));
  }
  return std::move(out).finish();
}

}  // namespace pw
