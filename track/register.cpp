#include "track/register.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "track/align.h"
#include "track/noise.h"
#include "track/region.h"
#include "track/start.h"

namespace pw {
namespace {

constexpr double kAgreeLimit = 0.15;  // Less of the texture than this agrees: it is not the same wall.
constexpr int kAbsolute = 20;         // Rounds towards the least absolute differences, before outliers are cut off.
constexpr int kBlock = 6;             // Colours are compared by means over squares of this side, pixels.

tl::unexpected<Problems> refusal(std::string what, std::string remedy) {
  return fail(Problem{.what = std::move(what), .remedy = std::move(remedy)});
}

// A picture n times smaller, each pixel the mean of n x n; what is left over at the right and below is dropped.
Picture shrunk(const Picture& p, int n) {
  if (n == 1) return p;
  const Rect w = p.window();
  const int channels = p.channels();
  Canvas c = Canvas::clear(Rect::sized(w.width() / n, w.height() / n), channels);
  for (int y = 0; y < c.window().height(); ++y)
    for (int j = 0; j < n; ++j) {
      const float* in = p.row(w.y0 + y * n + j);
      float* out = c.row(y);
      for (int x = 0; x < c.window().width(); ++x)
        for (int i = 0; i < n; ++i)
          for (int k = 0; k < channels; ++k) out[x * channels + k] += in[(x * n + i) * channels + k] / float(n * n);
    }
  return std::move(c).finish();
}

// Mean colours of both over squares that show the plane in both.
struct Pairs {
  std::vector<Eigen::Vector3d> still, plate;
};
Pairs colours(const Picture& plate, const Picture& still, const Reference& reference, const Alignment& a) {
  Pairs pairs;
  const Rect box = intersect(reference.box(), plate.window()), own = still.window();
  for (int by = box.y0; by + kBlock <= box.y1; by += kBlock)
    for (int bx = box.x0; bx + kBlock <= box.x1; bx += kBlock) {
      Eigen::Vector3d p = Eigen::Vector3d::Zero(), s = p;
      int count = 0;
      for (int y = by; y < by + kBlock; ++y)
        for (int x = bx; x < bx + kBlock; ++x) {
          const Point at(x + 0.5, y + 0.5), there = map(a.frame_from_ref, at) - Point(0.5, 0.5);
          const int sx = static_cast<int>(std::floor(there.x())), sy = static_cast<int>(std::floor(there.y()));
          if (!own.contains(sx, sy) || !own.contains(sx + 1, sy + 1) || weight_at(reference, a, at) < 0.3f) continue;
          const double fx = there.x() - sx, fy = there.y() - sy;
          for (int c = 0; c < 3; ++c) {
            s[c] += (1 - fy) * ((1 - fx) * still.at(sx, sy)[c] + fx * still.at(sx + 1, sy)[c]) +
                    fy * ((1 - fx) * still.at(sx, sy + 1)[c] + fx * still.at(sx + 1, sy + 1)[c]);
            p[c] += plate.at(x, y)[c];
          }
          ++count;
        }
      if (2 * count < kBlock * kBlock) continue;
      pairs.still.emplace_back(s / count);
      pairs.plate.emplace_back(p / count);
    }
  return pairs;
}

// The mapped corners' covariance in the still, told in plate pixels.
std::vector<double> in_plate(const Eigen::MatrixXd& in_still, const Matrix3& still_from_plate,
                             std::span<const Point> region) {
  Eigen::MatrixXd back = Eigen::MatrixXd::Zero(in_still.rows(), in_still.cols());
  for (size_t i = 0; i < region.size(); ++i)
    back.block<2, 2>(2 * static_cast<Eigen::Index>(i), 2 * static_cast<Eigen::Index>(i)) =
        jacobian(still_from_plate, region[i]).inverse();
  const Eigen::MatrixXd c = back * in_still * back.transpose();
  return {c.data(), c.data() + c.size()};
}

}  // namespace

Picture coloured(const Picture& p, const Matrix3& m) {
  if (m.isIdentity(0)) return p;
  Canvas c = Canvas::copy(p, p.window());
  for (int y = p.window().y0; y < p.window().y1; ++y) {
    float* q = c.row(y);
    for (int x = 0; x < p.window().width(); ++x, q += p.channels()) {
      const Eigen::Vector3d v = m * Eigen::Vector3d(q[0], q[1], q[2]);
      for (int k = 0; k < 3; ++k) q[k] = static_cast<float>(v[k]);
    }
  }
  return std::move(c).finish();
}

std::optional<Matrix3> match_colour(std::span<const Eigen::Vector3d> still, std::span<const Eigen::Vector3d> plate,
                                    ColourMatch how) {
  if (how == ColourMatch::none) return Matrix3(Matrix3::Identity());
  const bool matrix = how == ColourMatch::matrix;
  const size_t n = std::min(still.size(), plate.size());
  if (n < (matrix ? 24u : 8u)) return std::nullopt;
  double brightest = 0, white = 0;
  for (size_t i = 0; i < n; ++i) {
    if (!still[i].allFinite() || !plate[i].allFinite()) return std::nullopt;
    brightest = std::max(brightest, plate[i].maxCoeff()), white = std::max(white, still[i].maxCoeff());
  }
  if (!(brightest > 0 && white > 0)) return std::nullopt;
  Matrix3 m = Matrix3::Zero();
  for (int c = 0; c < 3; ++c) {
    std::vector<double> weight(n, 1), residual(n), sorted(n);
    // One step of light counts more where the still is dark, much as code values do.
    const auto steep = [&](size_t i) { return 1 / std::pow(0.02 + std::max(0.0, still[i][c] / white), 0.58); };
    for (int round = 0; round < kAbsolute + 20; ++round) {
      Eigen::Matrix3d a = Eigen::Matrix3d::Zero();
      Eigen::Vector3d b = Eigen::Vector3d::Zero();
      for (size_t i = 0; i < n; ++i) {
        const double w = weight[i] * steep(i) * steep(i);
        a += w * still[i] * still[i].transpose();
        b += w * still[i] * plate[i][c];
      }
      if (matrix) {
        const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> eigen(a);
        if (!(eigen.eigenvalues()[0] > 1e-5 * eigen.eigenvalues()[2])) return std::nullopt;
        m.row(c) = a.ldlt().solve(b).transpose();
      } else {
        if (!(a(c, c) > 0) || !(b[c] > 0)) return std::nullopt;
        m(c, c) = b[c] / a(c, c);
      }
      for (size_t i = 0; i < n; ++i) residual[i] = std::abs(plate[i][c] - m.row(c).dot(still[i])) * steep(i);
      sorted = residual;
      std::nth_element(sorted.begin(), sorted.begin() + std::ptrdiff_t(n / 2), sorted.end());
      const double middle = sorted[n / 2], least = 1e-12 * brightest;
      for (size_t i = 0; i < n; ++i) {
        if (round < kAbsolute) {
          weight[i] = 1 / std::max(residual[i], least + 0.01 * middle);
          continue;
        }
        const double u = residual[i] / std::max(4.685 * 1.4826 * middle, least);
        weight[i] = u < 1 ? (1 - u * u) * (1 - u * u) : 0;
      }
    }
  }
  if (!m.allFinite()) return std::nullopt;
  return m;
}

Result<Registration> register_still(const Picture& plate, const Picture& ignore, const Picture& still,
                                    const RegisterOptions& o, const Runner& runner) {
  if (o.region.size() < 4)
    return refusal(fmt::format("the region has {} corners", o.region.size()), "a plane needs 4 or more");
  if (o.still_points.size() != o.plate_points.size())
    return refusal(fmt::format("there are {} points of the still and {} of the plate", o.still_points.size(),
                               o.plate_points.size()),
                   "give them in pairs: the same place in both, in the same order");
  const bool typed = !o.still_points.empty();
  if (typed && o.still_points.size() < 4)
    return refusal(fmt::format("{} pairs of points do not fix where the still lies", o.still_points.size()),
                   "give 4 or more");
  if (!typed && !o.align) return refusal("there are no pairs of points", "give 4 or more, or let it be aligned");
  const Rect inside = intersect(bounds(o.region), plate.window());
  if (inside.width() < 12 || inside.height() < 12)
    return refusal("less than 12 x 12 pixels of the region lie in the plate", "draw it over the reference frame");

  // A still much finer than the plate only costs time: it is made smaller first.
  const double finer = std::min(double(still.window().width()) / plate.window().width(),
                                double(still.window().height()) / plate.window().height());
  const int n = std::max(1, static_cast<int>(finer / 1.5));
  Picture small = shrunk(still, n);
  const Matrix3 still_from_small = scaling(n, n);
  Registration made;
  const Reference reference(plate, ignore, o.region, runner);
  if (reference.empty()) return refusal("all of the region is ignored", "ignore less, or draw another region");

  Alignment a;
  if (typed) {
    const auto h = homography(o.plate_points, o.still_points);
    if (!h || !plausible(*h, o.region))
      return refusal("the pairs of points do not fix where the still lies",
                     "spread them over the plane, no three on a line, and see that each pair is the same place");
    a.frame_from_ref = normalised(inverted(still_from_small) * *h);
    double sum = 0;
    for (size_t i = 0; i < o.still_points.size(); ++i)
      sum += (map(inverted(*h), o.still_points[i]) - o.plate_points[i]).squaredNorm();
    made.residual = std::sqrt(sum / double(o.still_points.size()));
    made.agreeing = made.tried = static_cast<int>(o.still_points.size());
  } else {
    const Blocked blocked(ignore, kIgnoreGrow);
    const Finder finder(FeatureImage(plate), o.region,
                        [&](const Point& p) { return blocked.empty() || !blocked.at(p); });
    const auto g = finder.find(FeatureImage(small));
    if (!g || !plausible(g->h, o.region) || g->inliers < 8)
      return refusal("the plane was not found in the still",
                     "give 4 or more pairs of points: the same places in the still and in the plate");
    a.frame_from_ref = normalised(g->h);
    made.agreeing = g->inliers, made.tried = g->tried;
  }

  // Colour is found where the still lies, and the still is laid again with that colour: a gain for each channel alone,
  // which the alignment knows, leaves an edge between two hues another height in each picture.
  const auto call = [&](std::string why) { made.status = TrackStatus::weak, made.reason = std::move(why); };
  Reference::Options r;
  r.from_level = reference.levels() - 1;
  r.sigma = 0.6 * std::hypot(noise_sigma(small), noise_sigma(plate));
  r.position_px = 2;
  const int rounds = o.align && o.colour == ColourMatch::matrix ? 2 : 1;
  for (int round = 0; round < rounds; ++round) {
    const Picture seen = coloured(small, made.colour);
    Alignment fitted = a;
    if (o.align) {
      const Pyramid p = pyramid(seen, seen.window(), 0, r.from_level, false, runner);
      fitted = reference.align(p, Blocked(), a, r, runner);
      if (!plausible(fitted.frame_from_ref, o.region) || fitted.weight.empty() || fitted.visible < kAgreeLimit)
        return refusal(fmt::format("only {:.0f} % of the texture agrees with the plate where the still lies",
                                   100 * std::min(1.0, fitted.visible)),
                       typed ? "check the pairs of points, or take it as they say: align = false"
                             : "give 4 or more pairs of points, or a region that looks the same in both");
      a = fitted;
    } else {
      a.weight.assign(size_t(reference.box().area()), 1.f);
    }
    if (o.colour == ColourMatch::none) continue;
    const Pairs pairs = colours(plate, small, reference, a);
    auto colour = match_colour(pairs.still, pairs.plate, o.colour);
    if (!colour && o.colour == ColourMatch::matrix) {
      colour = match_colour(pairs.still, pairs.plate, ColourMatch::gain);
      if (colour) call("the shared part has too few hues for a matrix; each channel has a gain");
    }
    if (!colour) call("the shared part is too small to tell the colour");
    made.colour = colour.value_or(Matrix3::Identity());
  }
  const Matrix3 still_from_plate = normalised(still_from_small * a.frame_from_ref);
  made.plate_from_still = inverted(still_from_plate);
  if (!o.align) return made;
  made.residual = a.residual;
  made.corner_covariance = in_plate(corner_covariance(reference, a), a.frame_from_ref, o.region);
  double worst = 0;
  const size_t side = 2 * o.region.size();
  for (size_t i = 0; i < side; ++i) worst = std::max(worst, made.corner_covariance[i * side + i]);
  worst = std::sqrt(worst);
  if (!(worst < o.weak_px))
    call(fmt::format("a corner is known to {:.2f} px only", worst));
  else if (!a.converged)
    call(fmt::format("the alignment still moved by {:.2f} px when it was stopped", a.last_step_px));
  return made;
}

}  // namespace pw
