#include "track/align.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "base/elementary.h"
#include "track/region.h"

namespace pw {
namespace {

constexpr int kMaxLevels = 4;
constexpr int kSmallestSide = 20;          // Of a level's region, pixels.
constexpr int64_t kEnoughPixels = 200000;  // A region of more is known well enough from its half size.
constexpr int kMaxIterations = 12;
constexpr int kWeighings = 5;  // After so many iterations the weights stay, so that nothing swings.
// Converged when no corner moves by more than this, pixels of the level, or by a tenth of what it is known to.
constexpr double kConverged = 0.001, kSettled = 0.1;
// The same for a large region that half its size did not tell enough of: it goes on until the answer is the same
// wherever the search began.
constexpr int kMaxThorough = 16, kWeighingsThorough = 8;
constexpr double kSettledThorough = 0.02;
constexpr double kConvergedAbove = 0.03;  // The same on levels above the last.
constexpr double kConvergedRough = 0.01;  // The same on the last when it is not the finest: a start for another search.
// The frame is sampled anew when the homography has moved by more than this since, or by more than kStale when done.
constexpr double kNear = 0.1, kStale = 0.003;
// What interpolation leaves at a corner, pixels, and how well a way is known, as a share of its length: found with
// drawn planes, as is the factor on the variance for noise that neighbouring tiles share.
constexpr double kLeft = 0.001, kLeftOfWay = 0.0005, kCommon = 1.5;
// Where noise makes more of the gradients than this, both pictures are softened.
constexpr double kNoisy = 0.2;
// What softening leaves of the deviation of noise, by the number of passes.
constexpr double kSoftened[] = {1, 0.55, 0.42, 0.35, 0.3};

Matrix3 at_level(const Matrix3& h, int level) {
  const double s = std::ldexp(1.0, level);
  return normalised(scaling(1 / s, 1 / s) * h * scaling(s, s));
}

std::vector<Rect> tiles_of(const Rect& box, int side) {
  std::vector<Rect> tiles;
  for (int y = box.y0; y < box.y1; y += side)
    for (int x = box.x0; x < box.x1; x += side) tiles.push_back(intersect(box, {x, y, x + side, y + side}));
  return tiles;
}

// So that loops vectorise: what is chosen from is known before.
inline float slope_of(float linear) {
  constexpr float straight = 0.0031308f;
  const float above = linear > straight ? linear : straight;
  const float curved = 1.055f / 2.4f * exp2((1 / 2.4f - 1) * log2(above));
  return linear > straight ? curved : 12.92f;
}

}  // namespace

float code_slope(float linear) { return slope_of(linear); }

void to_code_slopes(std::span<float> linear) {
  for (float& v : linear) v = slope_of(v);
}

Blocked::Blocked(const Picture& matte, int grow) {
  if (matte.empty()) return;
  window_ = matte.window().grown(grow);
  const int width = window_.width();
  std::vector<unsigned char> rows(size_t(window_.area()), 0);
  for (int y = matte.window().y0; y < matte.window().y1; ++y)
    for (int x = matte.window().x0; x < matte.window().x1; ++x)
      if (*matte.at(x, y) > 0.02f)
        std::fill_n(rows.begin() + size_t(y - window_.y0) * width + (x - window_.x0 - grow), 2 * grow + 1, 1);
  bits_.assign(rows.size(), 0);
  for (int y = 0; y < window_.height(); ++y)
    for (int k = std::max(0, y - grow); k <= std::min(window_.height() - 1, y + grow); ++k)
      for (int x = 0; x < width; ++x) bits_[size_t(y) * width + x] |= rows[size_t(k) * width + x];
}

bool Blocked::at(const Point& p) const {
  const double x = std::floor(p.x()), y = std::floor(p.y());
  if (!(x >= window_.x0 && x < window_.x1 && y >= window_.y0 && y < window_.y1)) return false;
  return bits_[size_t(int(y) - window_.y0) * window_.width() + (int(x) - window_.x0)] != 0;
}

Reference::Reference(const Picture& image, const Picture& ignore, std::span<const Point> region, const Runner& runner,
                     std::span<const std::vector<Point>> also)
    : region_(region.begin(), region.end()), channels_(std::min(3, image.channels())) {
  std::vector<std::vector<Point>> outlines(also.begin(), also.end());
  outlines.emplace_back(region.begin(), region.end());
  Rect all;
  for (const auto& outline : outlines) all = unite(all, bounds(outline));
  const Rect inside = intersect(all, image.window());
  int levels = 1;
  while (levels < kMaxLevels && (std::min(inside.width(), inside.height()) >> levels) >= kSmallestSide) ++levels;
  const int step = 1 << (levels - 1);
  const int side = std::max(inside.area() < 120000 ? 16 : 32, step);
  const Rect box = aligned(inside, step);
  std::vector<ReferencePicture> pictures = reference_pyramid(image, box.grown(64), levels - 1, runner);
  const Blocked blocked(ignore, kIgnoreGrow);
  centre_ = Point(0.5 * (box.x0 + box.x1), 0.5 * (box.y0 + box.y1));
  radius_ = 0.5 * std::hypot(box.width(), box.height());
  for (int l = 0; l < levels; ++l) {
    Level level;
    const int s = 1 << l;
    level.picture = std::move(pictures[l]);
    level.box = {box.x0 / s, box.y0 / s, box.x1 / s, box.y1 / s};
    level.mask.assign(size_t(level.box.area()), 0.f);
    for (const auto& outline : outlines) {
      std::vector<Point> polygon;
      for (const Point& c : outline) polygon.push_back(c / s);
      const std::vector<float> share = coverage(polygon, level.box);
      for (size_t i = 0; i < share.size(); ++i) level.mask[i] = std::max(level.mask[i], share[i]);
    }
    level.tiles = tiles_of(level.box, side / s);
    size_t i = 0;
    for (int y = level.box.y0; y < level.box.y1; ++y)
      for (int x = level.box.x0; x < level.box.x1; ++x, ++i)
        if (!blocked.empty() && blocked.at(Point((x + 0.5) * s, (y + 0.5) * s))) level.mask[i] = 0;
    level_.push_back(std::move(level));
  }
}

int Reference::finest() const { return levels() > 1 && box().area() > kEnoughPixels ? 1 : 0; }

bool Reference::empty() const {
  return std::none_of(level_[0].mask.begin(), level_[0].mask.end(), [](float m) { return m > 0; });
}

namespace {

// Gain of each channel that takes the reference's brightness to the frame's: the median over tiles of the ratio of
// means, which asks for no exact position and shrugs off occluders of less than half the region.
LightVector light_from_means(const Raster& reference, const Raster& frame, const std::vector<Rect>& tiles,
                             int channels) {
  std::vector<float> ratios[3];
  for (const Rect& t : tiles) {
    f4 a = splat(0), b = splat(0);
    int64_t count = 0;
    for (int y = t.y0; y < t.y1; ++y)
      for (int x = t.x0; x < t.x1; ++x) {
        const f4 r = reference.at(x, y), f = frame.at(x, y);
        if (r[3] > 0 && f[3] > 0) a += r, b += f, ++count;
      }
    if (2 * count < t.area()) continue;
    for (int c = 0; c < channels; ++c)
      if (a[c] > 1e-6f * float(count)) ratios[c].push_back(b[c] / a[c]);
  }
  LightVector light = Light::start();
  for (int c = 0; c < channels; ++c) {
    if (ratios[c].empty()) continue;
    const auto middle = ratios[c].begin() + ratios[c].size() / 2;
    std::nth_element(ratios[c].begin(), middle, ratios[c].end());
    light[2 * c] = std::clamp(*middle, 0.01f, 100.f);
  }
  return light;
}

// d code / d linear at the predicted value; where a frame's pixels cover less of the reference than a pixel of its own,
// its noise counts less, and the other way round: each counts by its density.
void fill_slopes(const Raster& reference, const Light& light, const Matrix3& h, Raster& slope, const Runner& runner) {
  const Rect w = slope.window();
  const int width = w.width();
  const f4 gain{float(light.all[0]), float(light.all[2]), float(light.all[4]), 0};
  const f4 offset{float(light.all[1]), float(light.all[3]), float(light.all[5]), 0};
  const auto determinant = float(std::abs(h.determinant()));
  const auto z_x = float(h(2, 0));
  runner.run(w.height(), [&](size_t row) {
    const int y = w.y0 + int(row);
    const f4* in = &reference.at(w.x0, y);
    f4* out = slope.row(y);
    const auto z_row = float(h(2, 0) * (w.x0 + 0.5) + h(2, 1) * (y + 0.5) + h(2, 2));
    for (int x = 0; x < width; ++x) out[x] = gain * in[x] + offset;
    to_code_slopes({reinterpret_cast<float*>(out), 4 * size_t(width)});
    for (int x = 0; x < width; ++x) {
      const float z = std::abs(z_row + z_x * float(x));
      const float magnification = std::max(0.05f, determinant / (z * z * z));
      out[x] *= f4{1, 1, 1, 0} * _mm_sqrt_ps(splat(2 * magnification / (magnification + 1)));
    }
  });
}

// How much of the gradients is noise: that of the mean of prediction and frame is as large as that of half their
// difference, in which the texture cancels. Every other row tells enough.
double noise_share(const Raster& frame, const Visibility& v, const Rect& box) {
  double noise = 0, all = 0;
  for (int y = box.y0; y < box.y1; y += 2)
    for (int x = box.x0; x < box.x1; ++x) {
      const f4 w = v.weight.at(x, y);
      if (!(w[3] > 0)) continue;
      const auto half = [&](int dx, int dy) { return frame.at(x + dx, y + dy) - v.middle.at(x + dx, y + dy); };
      const f4 nx = half(1, 0) - half(-1, 0), ny = half(0, 1) - half(0, -1);
      const f4 mx = v.middle.at(x + 1, y) - v.middle.at(x - 1, y), my = v.middle.at(x, y + 1) - v.middle.at(x, y - 1);
      const f4 n = w * (nx * nx + ny * ny), m = w * (mx * mx + my * my);
      noise += (n[0] + n[1]) + n[2], all += (m[0] + m[1]) + m[2];
    }
  return all > 0 ? std::min(1.0, noise / all) : 1;
}

double largest_move(const Matrix3& a, const Matrix3& b, const Rect& box) {
  double move = 0;
  for (double x : {double(box.x0), double(box.x1)})
    for (double y : {double(box.y0), double(box.y1)}) {
      const double d = (map(a, {x, y}) - map(b, {x, y})).norm();
      move = std::isfinite(d) ? std::max(move, d) : 1e9;
    }
  return move;
}

}  // namespace

void Reference::fit(const Level& l, int level, const Pyramid& frame, const Blocked& ignore, const Options& o,
                    Alignment& a, double& position_px, const Runner& runner) const {
  const Rect outer = l.box.grown(kHalo);
  const double scale = std::ldexp(1.0, level);
  const Point centre = centre_ / scale;
  const double radius = radius_ / scale;
  Matrix3 h = at_level(a.frame_from_ref, level), matched = Matrix3::Zero(), sampled = h;
  const int most = o.clean ? 0 : level == 0 ? 4 : level == 1 ? 2 : 0;
  int passes = 0;  // Of softening.
  Raster reference, sample, seen(outer), slope(outer);
  Visibility vis;
  std::vector<float> mask = l.mask;
  std::vector<TileSums> sums(l.tiles.size());
  std::vector<TileShift> shifts;  // Of the last step.
  const Path home = scaled(o.reference_path, scale), own = scaled(o.frame_path, scale);
  const bool large = finest() > 0, whole = level == 0, thorough = large && whole;
  Matched pictures(l.picture, frame, level, large, home, own, runner);
  const double enough = whole ? kConverged : level == o.to_level ? kConvergedRough : kConvergedAbove;
  const auto input = [&] {
    const double sigma = std::max(o.sigma * kSoftened[passes] / scale, 0.001);
    return VisibilityInput{&reference, &seen, &slope, mask.data(), channels_, sigma, position_px, o.clean ? 0 : 0.5f};
  };
  a.converged = false;
  bool done = false, settled = false;
  for (int i = 0; i < (thorough ? kMaxThorough : kMaxIterations) && !settled; ++i) {
    if (i == 0 || largest_move(h, matched, l.box) > 0.3) {
      reference = softened(pictures.reference(h, outer.grown(passes)), passes);
      matched = h;
    }
    const double strayed = largest_move(h, sampled, l.box);
    const bool fresh = i == 0 || strayed > (done ? kStale : kNear);
    if (fresh) {
      sample = softened(pictures.frame(h, outer.grown(kNudge + passes)), passes);
      sampled = h;
    }
    nudge(sample, inverted(sampled) * h, seen, runner);
    if (i == 0 && level == o.from_level && o.fresh_light) {
      a.light.all = light_from_means(reference, seen, l.tiles, channels_);
      a.light.tile.assign(l.tiles.size(), LightVector::Zero());
    }
    if (i == 0) {
      fill_slopes(reference, a.light, h, slope, runner);
      if (!ignore.empty()) {
        size_t k = 0;
        for (int y = l.box.y0; y < l.box.y1; ++y)
          for (int x = l.box.x0; x < l.box.x1; ++x, ++k)
            mask[k] = ignore.at(map(h, {x + 0.5, y + 0.5}) * scale) ? 0 : l.mask[k];
      }
    }
    const VisibilityInput in = input();
    if (i < (thorough ? kWeighingsThorough : kWeighings))
      find_visible(in, l.tiles, a.light, runner, vis);
    else
      find_middle(in, l.tiles, a.light, runner, vis.middle, nullptr);
    if (i == 0 && passes < most && noise_share(seen, vis, l.box) > kNoisy) {
      ++passes, --i;  // Look again.
      continue;
    }
    const TileInput tile_input{&reference, &seen, &vis.middle, &vis.weight, centre, radius};
    runner.run(sums.size(), [&](size_t t) { sums[t] = accumulate(tile_input, l.tiles[t], a.light.of(t)); });
    const Step step = solve(sums, a.light, LightSpread{}, 3.0, motion_basis(o.limits, h, centre));
    const Matrix3 next = normalised(h * small_homography(step.motion, centre, radius));
    shifts = step.shift;
    a.last_step_px = largest_move(next, h, l.box);
    a.covariance = step.covariance * (scale * scale);
    a.information = step.information / (scale * scale);
    a.residual = vis.residual, a.inflation = vis.inflation, a.seen = vis.seen, a.visible = vis.visible;
    if (!(a.last_step_px < radius)) break;
    h = next;
    a.light.all += step.all;
    for (size_t t = 0; t < sums.size(); ++t) a.light.tile[t] += step.tile[t];
    double known = 0;
    for (double x : {double(l.box.x0), double(l.box.x1)})
      for (double y : {double(l.box.y0), double(l.box.y1)}) {
        const auto j = motion_jacobian(Point(x, y), centre, radius);
        known = std::max(known, (j * step.covariance * j.transpose()).trace());
      }
    known = std::sqrt(known);
    a.converged = i > 0 && a.last_step_px < std::max(enough, kSettled * known);
    done = a.converged && (!thorough || a.last_step_px < std::max(enough, kSettledThorough * known));
    settled = done && (!whole || fresh || strayed <= kStale);
    a.converged = thorough ? a.converged : settled;
    position_px = std::clamp(2 * a.last_step_px, level == 0 ? 0.06 : 0.1, position_px);
  }
  if (level == o.to_level) {
    // The normal equations are too steep: noise has gradients too, which tell nothing of the position, and where a
    // residual grows its weight falls.
    const double noise = o.clean ? 0 : noise_share(seen, vis, l.box);
    const double steep = std::max(0.2, (1 - noise) * vis.response);
    a.covariance /= steep * steep;
    a.bending = bending(shifts, l.tiles, centre, radius);
    a.bending.px *= scale;
    a.agreement = agreement(input(), l.tiles, a.light, runner);
    a.level = level;
    a.weight.resize(size_t(l.box.area()));
    size_t k = 0;
    for (int y = l.box.y0; y < l.box.y1; ++y)
      for (int x = l.box.x0; x < l.box.x1; ++x, ++k) a.weight[k] = vis.weight.at(x, y)[3];
  }
  a.frame_from_ref = at_level(h, -level);
}

Alignment Reference::align(const Pyramid& frame, const Blocked& ignore, const Alignment& start, const Options& o,
                           const Runner& runner) const {
  Alignment a = start;
  double position_px = o.position_px;
  a.left_px = std::hypot(kLeft, kLeftOfWay * (o.reference_path.length(box()) + o.frame_path.length(box())));
  const int from = std::min(o.from_level, levels() - 1);
  for (int level = from; level >= std::min(from, o.to_level); --level) {
    Options at = o;
    at.from_level = from;
    at.to_level = std::min(from, o.to_level);
    fit(level_[level], level, frame, ignore, at, a, position_px, runner);
    position_px = std::max(0.3, 2 * position_px);
  }
  return a;
}

float weight_at(const Reference& reference, const Alignment& a, const Point& p) {
  const Rect& box = reference.box(a.level);
  const double scale = std::ldexp(1.0, -a.level), x = std::floor(p.x() * scale), y = std::floor(p.y() * scale);
  if (!(x >= box.x0 && x < box.x1 && y >= box.y0 && y < box.y1) || a.weight.empty()) return 0;
  return a.weight[size_t(int(y) - box.y0) * box.width() + (int(x) - box.x0)];
}

Eigen::MatrixXd corner_covariance(const Reference& reference, const Alignment& a) {
  const auto& region = reference.region();
  Eigen::MatrixXd j(2 * region.size(), kMotion);
  for (size_t i = 0; i < region.size(); ++i)
    j.middleRows<2>(2 * i) =
        jacobian(a.frame_from_ref, region[i]) * motion_jacobian(region[i], reference.centre(), reference.radius());
  Eigen::MatrixXd c = kCommon * j * a.covariance * j.transpose();
  c.diagonal().array() += a.left_px * a.left_px;
  return c;
}

}  // namespace pw
