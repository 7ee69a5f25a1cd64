#include "track/camera.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>

#include "track/stance.h"

namespace pw {
namespace {

constexpr double kTrackPx = 0.1;  // How well a motion carries a point, pixels.
constexpr size_t kMostFrames = 24;
constexpr double kUnknown = 0.2;  // A focal length less certain than this share of itself is not known.

// World: x right, y down, z ahead or into the upright plane, which stands at z = 0.
struct View {
  Eigen::Matrix3d camera_from_world;
  Eigen::Vector3d t;
};

struct Plane {
  Stands stands;
  double cx, cy;
  std::vector<Point> plane, clicked;
  std::vector<Matrix3> frame_from_ref;  // The reference itself first.

  Eigen::Vector3d place(size_t i) const {
    const Point& p = plane[i];
    return stands == Stands::ground ? Eigen::Vector3d(p.x(), 0, p.y()) : Eigen::Vector3d(p.x(), -p.y(), 0);
  }
  Point seen(const View& v, double f, size_t i) const {
    const Eigen::Vector3d c = v.camera_from_world * place(i) + v.t;
    return {f * c.x() / c.z() + cx, f * c.y() / c.z() + cy};
  }
  // A pose from the homography of the plane, at a focal length.
  std::optional<View> pose(const Matrix3& image_from_plane, double f) const {
    Matrix3 b = pinhole(f, cx, cy).inverse() * image_from_plane;
    b /= (b.col(0).norm() + b.col(1).norm()) / 2;
    Point middle(0, 0);
    for (const Point& p : plane) middle += p / double(plane.size());
    if ((b * middle.homogeneous()).z() < 0) b = -b;
    View v;
    // The nearest rotation to the two columns.
    const Eigen::Vector3d along = b.col(0), other = stands == Stands::ground ? b.col(1) : Eigen::Vector3d(-b.col(1));
    Matrix3 r;
    if (stands == Stands::ground)
      r << along, other.cross(along), other;
    else
      r << along, other, along.cross(other);
    const Eigen::JacobiSVD<Matrix3> svd(r, Eigen::ComputeFullU | Eigen::ComputeFullV);
    v.camera_from_world = svd.matrixU() * svd.matrixV().transpose();
    if (!v.camera_from_world.allFinite() || v.camera_from_world.determinant() < 0) return std::nullopt;
    v.t = b.col(2);
    return v;
  }
};

View moved(const View& v, const double* d, double reach) {
  const Eigen::Vector3d turn(d[0], d[1], d[2]);
  const double angle = turn.norm();
  View m = v;
  if (angle > 0) m.camera_from_world = Eigen::AngleAxisd(angle, turn / angle).toRotationMatrix() * v.camera_from_world;
  m.t += reach * Eigen::Vector3d(d[3], d[4], d[5]);
  return m;
}

// Unknowns: the log of the focal length, the places of the clicked points, six numbers for each view.
struct Fit {
  const Plane& p;
  bool free_focal;
  double click_px, reach;
  double focal = 0;
  std::vector<Point> shift;
  std::vector<View> views;
  Eigen::MatrixXd covariance;  // Of (log focal, shifts, views).
  double cost = 0;

  Eigen::Index size() const { return 1 + Eigen::Index(2 * p.plane.size() + 6 * views.size()); }
  Eigen::VectorXd misses(size_t k, double f, const std::vector<Point>& s, const View& v) const {
    Eigen::VectorXd r(2 * p.plane.size());
    for (size_t i = 0; i < p.plane.size(); ++i)
      r.segment<2>(2 * Eigen::Index(i)) = (map(p.frame_from_ref[k], p.clicked[i] + s[i]) - p.seen(v, f, i)) / kTrackPx;
    return r;
  }
  double cost_of(double f, const std::vector<Point>& s, const std::vector<View>& all) const {
    double sum = 0;
    for (size_t k = 0; k < all.size(); ++k) sum += misses(k, f, s, all[k]).squaredNorm();
    for (const Point& d : s) sum += d.squaredNorm() / (click_px * click_px);
    return std::isfinite(sum) ? sum : 1e300;
  }
  void normal(Eigen::MatrixXd& a, Eigen::VectorXd& b) const {
    const Eigen::Index n = 2 * Eigen::Index(p.plane.size());
    a.setZero(size(), size()), b.setZero(size());
    for (size_t k = 0; k < views.size(); ++k) {
      const Eigen::VectorXd r = misses(k, focal, shift, views[k]);
      Eigen::MatrixXd j(n, 1 + n + 6);
      constexpr double kStep = 1e-6;
      j.col(0) =
          (misses(k, focal * std::exp(kStep), shift, views[k]) - misses(k, focal * std::exp(-kStep), shift, views[k])) /
          (2 * kStep);
      for (Eigen::Index i = 0; i < n; ++i) {
        auto more = shift, less = shift;
        more[size_t(i / 2)][i % 2] += 1e-4, less[size_t(i / 2)][i % 2] -= 1e-4;
        j.col(1 + i) = (misses(k, focal, more, views[k]) - misses(k, focal, less, views[k])) / 2e-4;
      }
      for (int i = 0; i < 6; ++i) {
        double d[6] = {};
        d[i] = kStep;
        const View more = moved(views[k], d, reach);
        d[i] = -kStep;
        j.col(1 + n + i) =
            (misses(k, focal, shift, more) - misses(k, focal, shift, moved(views[k], d, reach))) / (2 * kStep);
      }
      const Eigen::MatrixXd jj = j.transpose() * j;
      const Eigen::VectorXd jr = j.transpose() * r;
      const Eigen::Index at = 1 + n + 6 * Eigen::Index(k);
      a.topLeftCorner(1 + n, 1 + n) += jj.topLeftCorner(1 + n, 1 + n);
      a.block(at, at, 6, 6) += jj.bottomRightCorner(6, 6);
      a.block(0, at, 1 + n, 6) += jj.topRightCorner(1 + n, 6);
      a.block(at, 0, 6, 1 + n) += jj.bottomLeftCorner(6, 1 + n);
      b.head(1 + n) += jr.head(1 + n);
      b.segment<6>(at) += jr.tail<6>();
    }
    for (Eigen::Index i = 0; i < n; ++i) {
      a(1 + i, 1 + i) += 1 / (click_px * click_px);
      b[1 + i] += shift[size_t(i / 2)][i % 2] / (click_px * click_px);
    }
    if (!free_focal) a.row(0).setZero(), a.col(0).setZero(), a(0, 0) = 1, b[0] = 0;
  }
  void run() {
    Eigen::MatrixXd a;
    Eigen::VectorXd b;
    double damping = 1e-3;
    cost = cost_of(focal, shift, views);
    for (int round = 0; round < 60; ++round) {
      normal(a, b);
      Eigen::MatrixXd damped = a;
      damped.diagonal() *= 1 + damping;
      const Eigen::VectorXd step = -damped.ldlt().solve(b);
      const double f = focal * std::exp(std::clamp(step[0], -0.5, 0.5));
      auto s = shift;
      auto v = views;
      for (size_t i = 0; i < s.size(); ++i) s[i] += step.segment<2>(1 + 2 * Eigen::Index(i));
      for (size_t k = 0; k < v.size(); ++k) v[k] = moved(v[k], step.data() + 1 + 2 * s.size() + 6 * k, reach);
      const double then = cost_of(f, s, v);
      if (!(then <= cost)) {
        damping *= 10;
        if (damping > 1e12) break;
        continue;
      }
      const bool done = cost - then < 1e-10 * (1 + cost);
      focal = f, shift = s, views = v, cost = then;
      damping = std::max(1e-12, damping / 10);
      if (done) break;
    }
    normal(a, b);
    covariance = a.ldlt().solve(Eigen::MatrixXd::Identity(size(), size()));
    if (!free_focal) covariance(0, 0) = 0;
    // What the other unknowns can take over leaves rounding errors of the focal length's own information.
    if (free_focal && !(covariance(0, 0) > 0 && covariance(0, 0) * a(0, 0) < 1e9))
      covariance(0, 0) = std::numeric_limits<double>::infinity();
    // More than what was expected of clicks and tracks counts as more uncertainty.
    const double freedom = double(2 * p.plane.size() * views.size()) - double(6 * views.size()) - (free_focal ? 1 : 0);
    if (freedom > 0) covariance *= std::max(1.0, cost / freedom);
  }
};

// What a person wants to know of a view: height, tilt, roll.
Eigen::Vector3d stance(const View& v) {
  const Eigen::Vector3d down = v.camera_from_world.col(1);
  return {v.t.dot(down), tilt_deg(down), roll_deg(down)};
}

tl::unexpected<Problems> no_camera(std::string what, std::string remedy) {
  return fail(Problem{.what = std::move(what), .remedy = std::move(remedy)});
}

}  // namespace

Result<Camera> find_camera(const Motion& motion, const CameraOptions& o) {
  if (o.image_points.size() != o.plane_points.size())
    return no_camera(fmt::format("there are {} points in the frame and {} on the plane", o.image_points.size(),
                                 o.plane_points.size()),
                     "say for each point of the frame where it is on the plane, in the same order");
  if (o.image_points.size() < 4)
    return no_camera(fmt::format("{} points do not fix a camera", o.image_points.size()), "give 4 or more");
  const auto whole = homography(o.plane_points, o.image_points);
  if (!whole || !whole->allFinite())
    return no_camera("the points do not fix how the plane is seen", "spread them over it, no three on a line");
  Plane p{o.stands, motion.width / 2.0, motion.height / 2.0, o.plane_points, o.image_points, {}};
  p.frame_from_ref.push_back(Matrix3::Identity());
  std::vector<const Pose*> good;
  for (const Pose& pose : motion.poses)
    if (pose.status == TrackStatus::good && pose.frame != motion.reference) good.push_back(&pose);
  const size_t used = std::min(good.size(), kMostFrames - 1);
  for (size_t i = 0; i < used; ++i)
    p.frame_from_ref.push_back(good[used < 2 ? 0 : i * (good.size() - 1) / (used - 1)]->frame_from_ref);

  // Starts: what the equations of all frames say, and focal lengths from very wide to very long.
  std::vector<double> starts;
  if (o.focal_px > 0) {
    starts = {o.focal_px};
  } else {
    double uv = 0, uu = 0;
    for (const Matrix3& h : p.frame_from_ref) {
      const Matrix3 g = (translation(-p.cx, -p.cy) * h * *whole);
      const Eigen::Vector3d a = g.col(0) / g.col(0).head<2>().norm(), b = g.col(1) / g.col(0).head<2>().norm();
      const double u1 = a.head<2>().dot(b.head<2>()), v1 = a.z() * b.z();
      const double u2 = a.head<2>().squaredNorm() - b.head<2>().squaredNorm(), v2 = a.z() * a.z() - b.z() * b.z();
      uv += u1 * v1 + u2 * v2, uu += u1 * u1 + u2 * u2;
    }
    if (-uv > 0 && uu > 0) starts.push_back(std::sqrt(uu / -uv));
    for (double f = 0.35; f < 12; f *= 1.6) starts.push_back(f * motion.width);
  }
  std::optional<Fit> best;
  for (double f : starts) {
    if (!std::isfinite(f)) continue;
    Fit fit{p, false, o.click_px, 1, f, std::vector<Point>(p.plane.size(), Point(0, 0)), {}, {}, 0};
    for (const Matrix3& h : p.frame_from_ref)
      if (const auto v = p.pose(h * *whole, f)) fit.views.push_back(*v);
    if (fit.views.size() != p.frame_from_ref.size()) continue;
    fit.reach = std::max(fit.views[0].t.norm(), 1e-12);
    fit.cost = fit.cost_of(fit.focal, fit.shift, fit.views);
    if (!best || fit.cost < best->cost) best.emplace(std::move(fit));
  }
  if (!best)
    return no_camera("no camera sees the plane like that",
                     "check the order of the points and which way the plane lies");
  Fit fit{p, !(o.focal_px > 0), o.click_px, best->reach, best->focal, best->shift, best->views, {}, 0};
  fit.run();

  Camera c;
  c.width = motion.width, c.height = motion.height, c.frame = motion.reference;
  c.focal_px = fit.focal, c.focal_sd_px = fit.focal * std::sqrt(std::max(0.0, fit.covariance(0, 0)));
  if (!std::isfinite(c.focal_sd_px) || !(c.focal_sd_px < kUnknown * c.focal_px) || c.focal_px > 30 * c.width ||
      c.focal_px < 0.1 * c.width)
    return no_camera(fmt::format("the plane does not fix the focal length: {:.0f} px, give or take {:.0f}", c.focal_px,
                                 std::min(99999.0, c.focal_sd_px)),
                     "it is seen too squarely: use one that runs away from the camera, or say focal_px");
  const View& v = fit.views[0];
  const Eigen::Vector3d now = stance(v);
  if (!(now[0] > 0))
    return no_camera("the camera would stand below the ground",
                     "check the order of the points and which way the plane lies");
  Eigen::Matrix<double, 3, 6> slope;
  for (int i = 0; i < 6; ++i) {
    double d[6] = {};
    d[i] = 1e-6;
    const Eigen::Vector3d more = stance(moved(v, d, fit.reach));
    d[i] = -1e-6;
    slope.col(i) = (more - stance(moved(v, d, fit.reach))) / 2e-6;
  }
  const auto at = Eigen::Index(1 + 2 * p.plane.size());
  const Eigen::Matrix3d spread = slope * fit.covariance.block<6, 6>(at, at) * slope.transpose();
  c.height_m = now[0], c.tilt_deg = now[1], c.roll_deg = now[2];
  c.height_sd_m = std::sqrt(spread(0, 0)), c.tilt_sd_deg = std::sqrt(spread(1, 1));
  c.roll_sd_deg = std::sqrt(spread(2, 2));
  double sum = 0;
  for (size_t i = 0; i < p.plane.size(); ++i) sum += (p.seen(v, c.focal_px, i) - p.clicked[i]).squaredNorm();
  c.residual_px = std::sqrt(sum / double(p.plane.size()));
  c.frame_from_ground = frame_from_ground(v.camera_from_world.col(1), pinhole(c.focal_px, p.cx, p.cy), c.height_m);
  if (c.residual_px > std::max(2.0, 5 * o.click_px))
    c.doubt = fmt::format("the points miss by {:.1f} px; some of them or of their lengths are wrong", c.residual_px);
  else if (c.focal_sd_px > o.weak_share * c.focal_px)
    c.doubt = fmt::format("the focal length is known to {:.1f} % only", 100 * c.focal_sd_px / c.focal_px);
  return c;
}

}  // namespace pw
