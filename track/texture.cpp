#include "track/texture.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "track/region.h"
#include "track/telling.h"

namespace pw {
namespace {

constexpr int kSteps = 2;        // Of back-projection.
constexpr int kReweighings = 3;  // Of a pixel.
constexpr float kFreedom = 4;    // Of Student's t.
constexpr float kBest = 0.25f;   // Of the middle variance: no view counts as better.
constexpr float kDark = 0.05f;   // Less light than this of the reference's shows nothing.
constexpr int kBand = 16;        // Rows.
// Standard deviations beyond this times the median's are left out, as are areas below this share of the reference's.
constexpr double kUnsure = 1.5, kSmaller = 0.8;

float sum3(f4 v) { return (v[0] + v[1]) + v[2]; }

f4 slopes(f4 linear) { return f4{code_slope(linear[0]), code_slope(linear[1]), code_slope(linear[2]), 0}; }

// What the views see of one pixel beyond the texture.
struct Beyond {
  std::vector<f4> value;
  std::vector<float> precision;  // Of a code value.
};

f4 median(const std::vector<f4>& values, std::vector<float>& scratch) {
  f4 out = splat(0);
  for (int c = 0; c < 3; ++c) {
    scratch.clear();
    for (const f4& v : values) scratch.push_back(v[c]);
    std::nth_element(scratch.begin(), scratch.begin() + scratch.size() / 2, scratch.end());
    out[c] = scratch[scratch.size() / 2];
  }
  return out;
}

f4 robust_mean(const Beyond& b, f4 slope, float channels, std::vector<float>& scratch) {
  f4 mean = median(b.value, scratch);
  for (int round = 0; round < kReweighings; ++round) {
    f4 sum = splat(0);
    float all = 0;
    for (size_t i = 0; i < b.value.size(); ++i) {
      const f4 off = (b.value[i] - mean) * slope;
      const float w = b.precision[i] * (kFreedom + channels) / (kFreedom + sum3(off * off) * b.precision[i]);
      sum += splat(w) * b.value[i], all += w;
    }
    mean = sum * splat(1 / all);
  }
  return mean;
}

// The views' differences from the texture over a band of rows.
std::vector<Raster> differences(const SplinePicture& texture, std::span<const TextureView> views, const Rect& band) {
  std::vector<Raster> all;
  for (const TextureView& v : views) {
    Raster r(band);
    see_reference(texture, v.frame_from_ref, v.path, false, r, serial());
    for (int y = band.y0; y < band.y1; ++y)
      for (int x = band.x0; x < band.x1; ++x) {
        f4& p = r.at(x, y);
        const f4 seen = v.seen.at(x, y);
        const float known = p[3] * seen[3];
        p = seen - p;
        p[3] = known;
      }
    all.push_back(std::move(r));
  }
  return all;
}

float middle(std::vector<float> values) {
  if (values.empty()) return 0;
  const auto at = values.begin() + values.size() / 2;
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

// 1 / variance of a view's pixel, code values, from the median of what differs: occluders are less than half of it. The
// reference differs from a texture that was only just taken from it by nothing.
std::vector<float> precisions(const std::vector<std::vector<float>>& squares) {
  std::vector<float> variance;
  for (const auto& s : squares) variance.push_back(middle(s));
  const float least = std::max(1e-8f, kBest * middle(variance));
  for (float& v : variance) v = 1 / std::max(v, least);
  return variance;
}

}  // namespace

TextureView texture_view(const Reference& reference, const Picture& frame, const Blocked& ignore, const Alignment& a,
                         const Path& reference_path, const Path& frame_path) {
  const Rect& box = reference.box();
  TextureView view{Raster(box), a.frame_from_ref, frame_path};
  const auto r = mapped_bounds(a.frame_from_ref, box);
  const Rect window = r ? intersect(r->grown(48), frame.window()) : frame.window();
  if (window.empty()) {
    for (int y = box.y0; y < box.y1; ++y) std::fill_n(view.seen.row(y), box.width(), splat(0));
    return view;
  }
  const Pyramid p = pyramid(frame, window, 0, 0, false, serial());
  see_frame(p.level[0], a.frame_from_ref, reference_path, view.seen, serial());
  const std::vector<Rect>& tiles = reference.tiles();
  for (size_t t = 0; t < tiles.size(); ++t) {
    const LightVector l = a.light.of(t);
    const f4 gain{float(l[0]), float(l[2]), float(l[4]), 1}, offset{float(l[1]), float(l[3]), float(l[5]), 0};
    const Rect& tile = tiles[t];
    const double cx = 0.5 * (tile.x0 + tile.x1), cy = 0.5 * (tile.y0 + tile.y1);
    for (int y = tile.y0; y < tile.y1; ++y)
      for (int x = tile.x0; x < tile.x1; ++x) {
        const auto slope = float(2 * l[6] * (x + 0.5 - cx) / tile.width() + 2 * l[7] * (y + 0.5 - cy) / tile.height());
        const f4 all = gain + f4{slope, slope, slope, 0};
        f4& v = view.seen.at(x, y);
        const bool lit = std::min({all[0], all[1], all[2]}) > kDark;
        const bool shown = lit && v[3] > 0 && (ignore.empty() || !ignore.at(map(a.frame_from_ref, {x + 0.5, y + 0.5})));
        v = shown ? (v - offset) / all : splat(0);
      }
  }
  return view;
}

Picture clean_texture(const Reference& reference, const Picture& texture, std::span<const TextureView> views,
                      const Runner& runner) {
  const Rect& box = reference.box();
  const Rect window = box.grown(64);
  const auto channels = float(reference.channels());
  const std::vector<float>& mask = reference.mask();
  SplinePicture spline = pyramid(texture, window, 0, 0, false, runner).level[0];
  Raster pixels = raster(texture, window);
  const size_t bands = size_t(box.height() + kBand - 1) / kBand;
  const auto each_band = [&](const auto& work) {
    runner.run(bands, [&](size_t b) {
      const int y0 = box.y0 + int(b) * kBand;
      const Rect band{box.x0, y0, box.x1, std::min(box.y1, y0 + kBand)};
      work(b, band, differences(spline, views, band));
    });
  };
  const auto masked = [&](int x, int y) { return mask[size_t(y - box.y0) * box.width() + (x - box.x0)] > 0; };

  std::vector<std::vector<std::vector<float>>> by_band(bands, std::vector<std::vector<float>>(views.size()));
  each_band([&](size_t b, const Rect& band, const std::vector<Raster>& differs) {
    for (int y = band.y0; y < band.y1; y += 2)
      for (int x = band.x0; x < band.x1; ++x) {
        if (!masked(x, y)) continue;
        const f4 slope = slopes(pixels.at(x, y));
        for (size_t i = 0; i < views.size(); ++i) {
          const f4 r = differs[i].at(x, y);
          const f4 off = r * slope;
          if (r[3] > 0) by_band[b][i].push_back(sum3(off * off) / channels);
        }
      }
  });
  std::vector<std::vector<float>> squares(views.size());
  for (const auto& band : by_band)
    for (size_t i = 0; i < views.size(); ++i) squares[i].insert(squares[i].end(), band[i].begin(), band[i].end());
  const std::vector<float> precision = precisions(squares);

  for (int step = 0; step < kSteps; ++step) {
    each_band([&](size_t, const Rect& band, const std::vector<Raster>& differs) {
      Beyond beyond;
      std::vector<float> scratch;
      for (int y = band.y0; y < band.y1; ++y)
        for (int x = band.x0; x < band.x1; ++x) {
          if (!masked(x, y)) continue;
          beyond.value.clear(), beyond.precision.clear();
          for (size_t i = 0; i < views.size(); ++i)
            if (const f4 r = differs[i].at(x, y); r[3] > 0)
              beyond.value.push_back(r), beyond.precision.push_back(precision[i]);
          if (beyond.value.size() < kFewestViews) continue;
          f4& p = pixels.at(x, y);
          p += robust_mean(beyond, slopes(p), channels, scratch) * f4{1, 1, 1, 0};
        }
    });
    spline.spline = Raster(window);
    for (int y = window.y0; y < window.y1; ++y) std::copy_n(pixels.row(y), window.width(), spline.spline.row(y));
    to_spline(spline.spline);
  }

  Canvas out = Canvas::copy(texture, texture.window());
  const Rect inside = intersect(box, texture.window());
  for (int y = inside.y0; y < inside.y1; ++y)
    for (int x = inside.x0; x < inside.x1; ++x)
      if (masked(x, y))
        for (int c = 0; c < reference.channels(); ++c) out.at(x, y)[c] = pixels.at(x, y)[c];
  return std::move(out).finish();
}

Pose from_reference(const Pose& on_texture, const Pose& place, std::span<const Point> region) {
  Pose pose = on_texture;
  pose.frame_from_ref = normalised(pose.frame_from_ref * place.frame_from_ref.inverse());
  const auto n = Eigen::Index(2 * region.size());
  if (pose.corner_covariance.empty() || place.corner_covariance.empty()) return pose;
  Eigen::Map<Eigen::MatrixXd> c(pose.corner_covariance.data(), n, n);
  const Eigen::Map<const Eigen::MatrixXd> home(place.corner_covariance.data(), n, n);
  Eigen::MatrixXd j = Eigen::MatrixXd::Zero(n, n);
  for (size_t i = 0; i < region.size(); ++i) j.block<2, 2>(2 * i, 2 * i) = jacobian(pose.frame_from_ref, region[i]);
  c += j * home * j.transpose();
  return pose;
}

std::vector<int> texture_frames(const Motion& motion, double shutter_deg, size_t most) {
  const Rect region = bounds(motion.region);
  std::vector<float> sigmas;
  const auto measured = [&](const Pose& p) {
    return p.frame != motion.reference && p.status == TrackStatus::good && worst_sigma(p) > 0;
  };
  for (const Pose& p : motion.poses)
    if (measured(p)) sigmas.push_back(float(worst_sigma(p)));
  const double sure = kUnsure * middle(sigmas);
  std::vector<int> usable;
  for (const Pose& p : motion.poses) {
    if (!measured(p) || worst_sigma(p) > sure) continue;
    if (std::abs(signed_area(mapped(p.frame_from_ref, motion.region))) <
        kSmaller * std::abs(signed_area(motion.region)))
      continue;
    if (frame_path(motion, p.frame, shutter_deg).length(region) > kMostSmearPx) continue;
    usable.push_back(p.frame);
  }
  if (usable.size() <= most) return usable;
  std::vector<int> frames;
  for (size_t i = 0; i < most; ++i) frames.push_back(usable[i * (usable.size() - 1) / (most - 1)]);
  return frames;
}

}  // namespace pw
