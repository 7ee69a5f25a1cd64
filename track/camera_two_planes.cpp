#include "track/camera_two_planes.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <opencv2/calib3d.hpp>
#include <opencv2/core/eigen.hpp>

#include "track/shared_scene.h"
#include "track/stance.h"

namespace pw {
namespace {

constexpr double kCornerPx = 0.1;  // How well a motion carries a corner when it does not say, pixels.
constexpr double kFloorPx = 0.02;  // What interpolation leaves even where a motion says that it is better.
constexpr size_t kMostViews = 60, kStartFrames = 8, kStartRounds = 12, kFinished = 4, kRounds = 60;
constexpr double kLeastParallaxPx = 1;
constexpr double kUnknownFocal = 0.2;   // A focal length less certain than this share of itself is not known.
constexpr double kUnknownTilt = 5;      // Degrees.
constexpr double kParallel = 8;         // Degrees between planes.
constexpr double kTooFarPx = 2;         // Corners that miss by more are not of one rigid scene.
constexpr double kWrongLengths = 0.03;  // Share by which typed lengths disagree.
constexpr double kTooManySigmas = 10;   // If that is also more than so many standard deviations.

using Covariance8 = Eigen::Matrix<double, 8, 8>;

tl::unexpected<Problems> refused(std::string what, std::string remedy) {
  return fail(Problem{.what = std::move(what), .remedy = std::move(remedy)});
}

Eigen::VectorXd places(const Matrix3& h, const std::vector<Point>& points) {
  Eigen::VectorXd v(2 * points.size());
  for (size_t i = 0; i < points.size(); ++i) v.segment<2>(2 * Eigen::Index(i)) = map(h, points[i]);
  return v;
}

// One plane as a track tells it: four corners that stand for its region.
struct Tracked {
  const Motion& motion;
  std::vector<Point> quad;

  explicit Tracked(const Motion& m) : motion(m) {
    const Quad q = corner_quad(m.region);
    quad.assign(q.begin(), q.end());
  }
  // d (mapped points) / d (small homographies before the mapping), in pixels of the region's size.
  Eigen::MatrixXd slopes(const Matrix3& h, const std::vector<Point>& points) const {
    const Point middle = (quad[0] + quad[1] + quad[2] + quad[3]) / 4;
    const double radius = std::max(1e-9, (quad[0] - middle).norm());
    const Matrix3 ref_from_unit = translation(middle.x(), middle.y()) * scaling(radius, radius);
    Eigen::MatrixXd j(2 * points.size(), 8);
    for (int k = 0; k < 8; ++k) {
      Matrix3 more = Matrix3::Identity(), less = more;
      more(k / 3, k % 3) += 1e-5, less(k / 3, k % 3) -= 1e-5;
      const auto seen = [&](const Matrix3& m) {
        return places(h * ref_from_unit * m * ref_from_unit.inverse(), points);
      };
      j.col(k) = (seen(more) - seen(less)) / 2e-5;
    }
    return j;
  }
  // Of the quad's corners in that frame; nothing when the track does not say.
  std::optional<Covariance8> covariance(const Pose& pose) const {
    const auto n = Eigen::Index(2 * motion.region.size());
    if (Eigen::Index(pose.corner_covariance.size()) != n * n) return std::nullopt;
    const Eigen::Map<const Eigen::MatrixXd> told(pose.corner_covariance.data(), n, n);
    if (n == 8) return Covariance8(told);
    const Eigen::MatrixXd gain =
        slopes(pose.frame_from_ref, quad) *
        slopes(pose.frame_from_ref, motion.region).completeOrthogonalDecomposition().pseudoInverse();
    return Covariance8(gain * told * gain.transpose());
  }
  // A frame's corners are compared with the reference's: half of what is told of them is the frame's own.
  Sighting sighting(int plane, int frame, const Pose& pose, const Covariance8& typical) const {
    Sighting s{plane, frame, places(pose.frame_from_ref, quad), {}};
    const Covariance8 told = pose.frame == motion.reference ? typical : covariance(pose).value_or(typical);
    const Covariance8 own = told / 2 + kFloorPx * kFloorPx * Covariance8::Identity();
    s.whiten = own.llt().matrixL().solve(Covariance8::Identity());
    return s;
  }
  // Of the frame in the middle of all by uncertainty.
  Covariance8 typical() const {
    std::vector<Covariance8> all;
    for (const Pose& p : motion.poses)
      if (const auto c = p.frame == motion.reference || !p.seen() ? std::nullopt : covariance(p)) all.push_back(*c);
    if (all.empty()) return kCornerPx * kCornerPx * Covariance8::Identity();
    const auto middle = all.begin() + std::ptrdiff_t(all.size() / 2);
    std::nth_element(all.begin(), middle, all.end(),
                     [](const auto& a, const auto& b) { return a.trace() < b.trace(); });
    return *middle;
  }
};

// Its sign is then that of K (R + t n' / d) K^-1.
Matrix3 of_volume_one(const Matrix3& h) { return h / std::cbrt(h.determinant()); }

// What both motions say of the frames that are good in both, against the first one's reference, the home frame.
struct Views {
  std::vector<int> frames;
  std::vector<std::array<Matrix3, 2>> frame_from_home;
  std::vector<double> parallax_px;  // How far the second plane's corners are from where the first would carry them.
  std::array<QuadPlaces, 2> home;
  std::vector<Sighting> sightings;
};

Result<Views> views_of(const Tracked& first, const Tracked& second) {
  const Motion &a = first.motion, &b = second.motion;
  if (a.width != b.width || a.height != b.height)
    return refused("the two planes were followed in pictures of different sizes", "measure both in one plate");
  const Pose* at_home = b.find(a.reference);
  const bool same = a.reference == b.reference;
  if (!same && !(at_home && at_home->seen()))
    return refused(fmt::format("the second plane is not followed in frame {}, the reference of the first", a.reference),
                   "measure both from one reference");
  const Matrix3 home = same ? Matrix3::Identity() : at_home->frame_from_ref;
  std::vector<std::array<const Pose*, 2>> good;
  for (const Pose& p : a.poses) {
    const Pose* q = b.find(p.frame);
    if (p.frame != a.reference && p.status == TrackStatus::good && q && q->status == TrackStatus::good)
      good.push_back({&p, q});
  }
  if (good.empty())
    return refused("there is no frame beside the reference in which both planes are good",
                   "measure both over the same frames");
  Views v;
  v.home = {places(Matrix3::Identity(), first.quad), places(home, second.quad)};
  const Covariance8 typical[2] = {first.typical(), second.typical()};
  v.sightings.push_back(first.sighting(0, -1, {a.reference}, typical[0]));
  v.sightings.push_back(second.sighting(1, -1, same ? Pose{b.reference} : *at_home, typical[1]));
  const size_t used = std::min(good.size(), kMostViews);
  for (size_t i = 0; i < used; ++i) {
    const auto& [p, q] = good[used < 2 ? 0 : i * (good.size() - 1) / (used - 1)];
    v.frames.push_back(p->frame);
    v.frame_from_home.push_back({of_volume_one(p->frame_from_ref), of_volume_one(q->frame_from_ref * inverted(home))});
    v.sightings.push_back(first.sighting(0, int(i), *p, typical[0]));
    v.sightings.push_back(second.sighting(1, int(i), *q, typical[1]));
    double sum = 0;
    for (Eigen::Index k = 0; k < 8; k += 2)
      sum += (map(p->frame_from_ref, v.home[1].segment<2>(k)) - v.sightings.back().seen.segment<2>(k)).squaredNorm();
    v.parallax_px.push_back(std::sqrt(sum / 4));
  }
  return v;
}

// The views of a few frames, spread over all.
std::vector<Sighting> few(const Views& v, std::vector<size_t>& chosen) {
  const size_t used = std::min(v.frames.size(), kStartFrames);
  for (size_t i = 0; i < used; ++i) chosen.push_back(used < 2 ? 0 : i * (v.frames.size() - 1) / (used - 1));
  std::vector<Sighting> s{v.sightings[0], v.sightings[1]};
  for (size_t i = 0; i < used; ++i)
    for (size_t plane : {0, 1}) {
      s.push_back(v.sightings[2 + 2 * chosen[i] + plane]);
      s.back().frame = int(i);
    }
  return s;
}

struct Taken {  // A homography taken apart: R + t n'.
  Matrix3 rotation;
  Eigen::Vector3d translation, normal;
};

std::vector<Taken> taken_apart(const Matrix3& h, const Matrix3& k, const QuadPlaces& seen) {
  cv::Mat ch, ck;
  cv::eigen2cv(h, ch), cv::eigen2cv(k, ck);
  std::vector<cv::Mat> rotations, translations, normals;
  cv::decomposeHomographyMat(ch, ck, rotations, translations, normals);
  const Eigen::Vector3d middle(
      k.inverse() * Eigen::Vector3d(seen(0) + seen(2) + seen(4) + seen(6), seen(1) + seen(3) + seen(5) + seen(7), 4));
  std::vector<Taken> all;
  for (size_t i = 0; i < rotations.size(); ++i) {
    Taken t;
    cv::cv2eigen(rotations[i], t.rotation);
    t.translation = Eigen::Vector3d(translations[i].ptr<double>());
    t.normal = Eigen::Vector3d(normals[i].ptr<double>());
    if (t.rotation.allFinite() && t.translation.allFinite() && t.normal.allFinite() && t.normal.dot(middle) > 0)
      all.push_back(t);
  }
  return all;
}

// A pose from the homography of a plane whose normal is known, in distances of that plane.
Step3 step_of(const Matrix3& h, const Matrix3& k, const Eigen::Vector3d& normal) {
  const Matrix3 b = k.inverse() * h * k;
  // Directions in the plane are turned alone.
  const Eigen::Vector3d u = normal.unitOrthogonal(), w = normal.cross(u);
  const Eigen::Vector3d bu = b * u, bw = b * w;
  const double size = (bu.norm() + bw.norm()) / 2;
  Matrix3 from, to;
  from << u, w, normal;
  to << bu / size, bw / size, bu.cross(bw).normalized();
  const Eigen::JacobiSVD<Matrix3> svd(to, Eigen::ComputeFullU | Eigen::ComputeFullV);
  const Matrix3 rotation = svd.matrixU() * svd.matrixV().transpose() * from.transpose();
  return {rotation, b * normal / size - rotation * normal};
}

// From wide to long; every pair of ways to take the homographies of a frame apart.
std::vector<SceneFit> starts(const Views& v, const std::vector<size_t>& chosen, const Motion& m, double focal_px,
                             bool square) {
  std::vector<double> focal;
  for (double f = 0.4; f < 10; f *= 1.5) focal.push_back(f * m.width);
  if (focal_px > 0) focal = {focal_px};
  // The frame of the most parallax before the middle of all, and that after it.
  std::vector<size_t> tellers;
  const auto begin = v.parallax_px.begin(), middle = begin + std::ptrdiff_t(v.parallax_px.size() / 2);
  if (middle != begin) tellers.push_back(size_t(std::max_element(begin, middle) - begin));
  tellers.push_back(size_t(std::max_element(middle, v.parallax_px.end()) - begin));
  std::vector<SceneFit> all;
  for (double f : focal)
    for (size_t teller : tellers) {
      const Matrix3 k = pinhole(f, m.width / 2.0, m.height / 2.0);
      const auto& h = v.frame_from_home[teller];
      for (const Taken& a : taken_apart(h[0], k, v.home[0]))
        for (const Taken& b : taken_apart(h[1], k, v.home[1])) {
          const double distance = a.translation.norm() / b.translation.norm();
          if (!(distance > 1e-4 && distance < 1e4)) continue;
          SceneFit s;
          s.planes.focal = f, s.planes.home = v.home, s.planes.distance = distance;
          const double cosine = std::clamp(a.normal.dot(b.normal), -0.999, 0.999);
          s.planes.angle = square ? M_PI / 2 : std::acos(cosine);
          // Both normals give way alike where they are not at the angle they should be.
          const Eigen::Vector3d across = a.normal.cross(b.normal).normalized();
          const Eigen::Vector3d bisector = (a.normal + b.normal).normalized();
          if (!across.allFinite() || !bisector.allFinite()) continue;
          const Eigen::Vector3d one = Eigen::AngleAxisd(-s.planes.angle / 2, across) * bisector;
          s.planes.axes << one, across.cross(one), across;
          for (size_t i : chosen) s.steps.push_back(step_of(v.frame_from_home[i][0], k, one));
          all.push_back(std::move(s));
        }
    }
  return all;
}

// Nothing of a plane lies behind the camera.
bool in_front(const TwoPlanes& p, const Point& centre) {
  for (int plane : {0, 1})
    for (Eigen::Index i = 0; i < 8; i += 2) {
      const Point off = (p.home[plane].segment<2>(i) - centre) / p.focal;
      if (!(p.slope(plane).dot(off.homogeneous()) > 0)) return false;
    }
  return true;
}

// The scene that fits best in the end.
std::optional<SceneFit> best_scene(const Views& v, const Motion& m, double focal_px, bool square) {
  const Point centre(m.width / 2.0, m.height / 2.0);
  std::vector<size_t> chosen;
  const std::vector<Sighting> some = few(v, chosen);
  std::vector<SceneFit> tried;
  for (SceneFit& s : starts(v, chosen, m, focal_px, square)) {
    tried.push_back(fit_scene(some, std::move(s), centre, focal_px > 0, square, kStartRounds));
    if (!(tried.back().cost < 1e300) || !in_front(tried.back().planes, centre)) tried.pop_back();
  }
  std::stable_sort(tried.begin(), tried.end(), [](const auto& a, const auto& b) { return a.cost < b.cost; });
  std::optional<SceneFit> best;
  for (size_t i = 0; i < std::min(tried.size(), kFinished); ++i) {
    SceneFit s = tried[i];
    s.steps.clear();
    const Matrix3 k = pinhole(s.planes.focal, centre.x(), centre.y());
    for (const auto& h : v.frame_from_home) s.steps.push_back(step_of(h[0], k, s.planes.normal(0)));
    SceneFit done = fit_scene(v.sightings, std::move(s), centre, focal_px > 0, square, kRounds);
    if (in_front(done.planes, centre) && (!best || done.cost < best->cost)) best = std::move(done);
  }
  return best;
}

// What is asked of a scene: which way is down, metres by the scene's unit, the camera's height.
struct Ground {
  Eigen::Vector3d down;
  double height_m, misfit;  // Share by which distances differ from what they should be.
  Eigen::Vector3d told() const { return {height_m, tilt_deg(down), roll_deg(down)}; }
};

Ground ground_of(const TwoPlanes& p, const TwoPlanesOptions& o, const std::vector<Point>& clicks, const Point& centre) {
  std::vector<Eigen::Vector3d> at;
  for (const Point& c : clicks) {
    const Eigen::Vector3d ray((c.x() - centre.x()) / p.focal, (c.y() - centre.y()) / p.focal, 1);
    at.push_back(ray / p.slope(0).dot(ray));
  }
  double lm = 0, ll = 0, mm = 0;
  for (size_t i = 0; i < at.size(); ++i)
    for (size_t j = 0; j < i; ++j) {
      const double length = (at[i] - at[j]).norm(), metres = (o.plane_points[i] - o.plane_points[j]).norm();
      lm += length * metres, ll += length * length, mm += metres * metres;
    }
  const double scale = lm / ll;
  Ground g;
  g.misfit = std::sqrt(std::max(0.0, 1 - lm * lm / (ll * mm)));
  if (o.first == Stands::ground || o.second == Stands::ground) {
    const int plane = o.first == Stands::ground ? 0 : 1;
    g.down = p.normal(plane);
    g.height_m = scale / p.slope(plane).norm();
    return g;
  }
  g.down = p.axes.col(2);
  if (g.down.y() < 0) g.down = -g.down;
  g.height_m = 0;
  for (size_t i = 0; i < at.size(); ++i)
    g.height_m += (o.plane_points[i].y() + scale * at[i].dot(g.down)) / double(at.size());
  return g;
}

// Of height, tilt and roll.
Eigen::Matrix3d spread(const SceneFit& fit, const TwoPlanesOptions& o, const Point& centre) {
  Eigen::Matrix<double, 3, TwoPlanes::kSize> slope;
  for (int i = 0; i < TwoPlanes::kSize; ++i) {
    TwoPlanes::Change by = TwoPlanes::Change::Zero();
    by[i] = 1e-6;
    slope.col(i) = (ground_of(fit.planes.changed(by), o, o.image_points, centre).told() -
                    ground_of(fit.planes.changed(-by), o, o.image_points, centre).told()) /
                   2e-6;
  }
  Eigen::Matrix3d sum = slope * fit.covariance * slope.transpose();
  for (size_t i = 0; i < o.image_points.size(); ++i)
    for (int axis : {0, 1}) {
      auto more = o.image_points, less = more;
      more[i][axis] += 1e-3, less[i][axis] -= 1e-3;
      const Eigen::Vector3d by =
          (ground_of(fit.planes, o, more, centre).told() - ground_of(fit.planes, o, less, centre).told()) *
          (o.click_px / 2e-3);
      sum += by * by.transpose();
    }
  return sum;
}

std::optional<Problem> unfit(const TwoPlanesOptions& o) {
  if (o.image_points.size() != o.plane_points.size())
    return Problem{.what = fmt::format("there are {} points in the frame and {} on the plane", o.image_points.size(),
                                       o.plane_points.size()),
                   .remedy = "say for each point of the frame where it is on the plane, in the same order"};
  double image = 0, plane = 0;
  for (size_t i = 1; i < o.image_points.size(); ++i) {
    image = std::max(image, (o.image_points[i] - o.image_points[0]).norm());
    plane = std::max(plane, (o.plane_points[i] - o.plane_points[0]).norm());
  }
  if (!(image > 0) || !(plane > 0))
    return Problem{.what = "no length is known on the first plane", .remedy = "give 2 or more points, apart"};
  if (o.first == Stands::ground && o.second == Stands::ground)
    return Problem{.what = "two planes on the ground are one plane, or parallel", .remedy = "take an upright one"};
  return std::nullopt;
}

// What the fit says of the camera, but for what depends on the typed lengths.
std::optional<Problem> unfixed(const SceneFit& fit, const Camera& c, bool square) {
  if (fit.rms_px > kTooFarPx && fit.inflation > kTooManySigmas * kTooManySigmas)
    return Problem{.what = fmt::format("the two planes do not fit one camera: they miss by {:.1f} px", fit.rms_px),
                   .remedy = square ? "check that they are at right angles, and that nothing in them moves by itself"
                                    : "check that nothing in them moves by itself"};
  const double between = std::asin(std::abs(std::sin(fit.planes.angle))) * 180 / M_PI;
  if (!(between > kParallel))
    return Problem{.what = fmt::format("the two planes are parallel, or as good as: at {:.0f} degrees", between),
                   .remedy = "take two planes that meet at an angle"};
  const char* const more =
      "let the camera travel farther, across and towards the planes, or say focal_px, or take one plane with four "
      "known points";
  if (!(c.focal_sd_px < kUnknownFocal * c.focal_px) || c.focal_px > 30 * c.width || c.focal_px < 0.1 * c.width)
    return Problem{.what = fmt::format("the two planes do not fix the focal length: {:.0f} px, give or take {:.0f}",
                                       c.focal_px, std::min(99999.0, c.focal_sd_px)),
                   .remedy = more};
  if (!(c.tilt_sd_deg < kUnknownTilt))
    return Problem{
        .what = fmt::format("the two planes do not fix the camera's tilt: {:.1f} degrees, give or take {:.1f}",
                            c.tilt_deg, std::min(90.0, c.tilt_sd_deg)),
        .remedy = more};
  if (!(c.height_m > 0 && std::abs(c.roll_deg) < 90))
    return Problem{.what = "the camera would stand below the ground", .remedy = "check which way the planes lie"};
  return std::nullopt;
}

std::string doubt(const Camera& c, const Ground& ground, double weak_share) {
  if (ground.misfit > kWrongLengths)
    return fmt::format("the lengths between the points differ by {:.0f} %; some of them are wrong",
                       100 * ground.misfit);
  if (c.focal_sd_px > weak_share * c.focal_px)
    return fmt::format("the focal length is known to {:.1f} % only", 100 * c.focal_sd_px / c.focal_px);
  return {};
}

}  // namespace

Result<Camera> find_camera(const Motion& first, const Motion& second, const TwoPlanesOptions& o) {
  if (auto problem = unfit(o)) return fail(std::move(*problem));
  const auto views = views_of(Tracked(first), Tracked(second));
  if (!views) return fail(views.error());
  const double parallax = *std::max_element(views->parallax_px.begin(), views->parallax_px.end());
  if (!(parallax >= kLeastParallaxPx))
    return refused(
        fmt::format("the two planes move as one, within {:.1f} px: the camera stands still or only turns, or "
                    "they are one plane",
                    parallax),
        "take two planes of a shot whose camera travels, or one plane with four known points");
  const bool square = o.square || o.first != o.second;
  const auto fit = best_scene(*views, first, o.focal_px, square);
  if (!fit)
    return refused("no camera sees the two planes move like that", "take planes of one rigid scene at an angle");

  const Point centre(first.width / 2.0, first.height / 2.0);
  const Ground ground = ground_of(fit->planes, o, o.image_points, centre);
  const Eigen::Matrix3d sd = spread(*fit, o, centre);
  Camera c;
  c.width = first.width, c.height = first.height, c.frame = first.reference;
  c.focal_px = fit->planes.focal, c.focal_sd_px = c.focal_px * std::sqrt(std::max(0.0, fit->covariance(0, 0)));
  c.residual_px = fit->rms_px;
  c.height_m = ground.height_m, c.tilt_deg = tilt_deg(ground.down), c.roll_deg = roll_deg(ground.down);
  c.height_sd_m = std::sqrt(sd(0, 0)), c.tilt_sd_deg = std::sqrt(sd(1, 1)), c.roll_sd_deg = std::sqrt(sd(2, 2));
  c.frame_from_ground = frame_from_ground(ground.down, pinhole(c.focal_px, centre.x(), centre.y()), c.height_m);
  if (auto problem = unfixed(*fit, c, square)) return fail(std::move(*problem));
  c.doubt = doubt(c, ground, o.weak_share);
  return c;
}

}  // namespace pw
