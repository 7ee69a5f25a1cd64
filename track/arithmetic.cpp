#include "track/arithmetic.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <functional>

namespace pw {
namespace {

Point middle(const std::vector<Point>& region) {
  const Quad q = corner_quad(region);
  return (q[0] + q[1] + q[2] + q[3]) / 4;
}

using Corners = Eigen::VectorXd;  // x0 y0 x1 y1 ...
Corners corners(const Matrix3& h, const std::vector<Point>& region) {
  Corners c(2 * region.size());
  for (size_t i = 0; i < region.size(); ++i) c.segment<2>(2 * static_cast<Eigen::Index>(i)) = map(h, region[i]);
  return c;
}

// Small changes of a homography after it has mapped, one for each of its eight numbers, in coordinates in which the
// region is about 1 in size.
class Changes {
 public:
  explicit Changes(const Corners& mapped) {
    Point lo = mapped.head<2>(), hi = lo;
    for (Eigen::Index i = 0; i < mapped.size(); i += 2) {
      lo = lo.cwiseMin(mapped.segment<2>(i));
      hi = hi.cwiseMax(mapped.segment<2>(i));
    }
    const double radius = std::max((hi - lo).norm() / 2, 1e-9);
    const Point c = (lo + hi) / 2;
    frame_from_unit_ = translation(c.x(), c.y()) * scaling(radius, radius);
  }
  // d f(changed h) / d change, by central differences. Nothing when f has no answer.
  std::optional<Eigen::MatrixXd> slope(const std::function<std::optional<Corners>(const Matrix3& change)>& f) const {
    constexpr double kStep = 1e-5;
    Eigen::MatrixXd j;
    for (int k = 0; k < 8; ++k) {
      const auto more = f(change(k, kStep)), less = f(change(k, -kStep));
      if (!more || !less || !more->allFinite() || !less->allFinite()) return std::nullopt;
      if (k == 0) j.resize(more->size(), 8);
      j.col(k) = (*more - *less) / (2 * kStep);
    }
    return j;
  }

 private:
  Matrix3 change(int k, double by) const {
    Matrix3 m = Matrix3::Identity();
    m(k / 3, k % 3) += by;
    return frame_from_unit_ * m * frame_from_unit_.inverse();
  }
  Matrix3 frame_from_unit_;
};

using Derive = std::function<std::optional<Matrix3>(const std::array<Matrix3, 3>&)>;

// What the uncertainty of one of the poses means for the corners of the result.
std::optional<Eigen::MatrixXd> carried(const Motion& from, const Pose& pose, size_t which,
                                       const std::array<Matrix3, 3>& poses, const Derive& derive,
                                       const std::vector<Point>& region) {
  const auto n = static_cast<Eigen::Index>(2 * from.region.size());
  if (static_cast<Eigen::Index>(pose.corner_covariance.size()) != n * n) return std::nullopt;
  const auto own =
      Eigen::Map<const Eigen::Matrix<double, -1, -1, Eigen::RowMajor>>(pose.corner_covariance.data(), n, n);
  const Changes changes(corners(pose.frame_from_ref, from.region));
  const auto seen =
      changes.slope([&](const Matrix3& c) { return std::optional(corners(c * pose.frame_from_ref, from.region)); });
  const auto made = changes.slope([&](const Matrix3& c) -> std::optional<Corners> {
    auto changed = poses;
    changed[which] = c * changed[which];
    const auto h = derive(changed);
    if (!h) return std::nullopt;
    return corners(*h, region);
  });
  if (!seen || !made) return std::nullopt;
  const Eigen::MatrixXd gain = *made * seen->completeOrthogonalDecomposition().pseudoInverse();
  return Eigen::MatrixXd(gain * own * gain.transpose());
}

}  // namespace

std::optional<Matrix3> kept(const Matrix3& h, const Point& about, const Parts& parts) {
  if (!h.allFinite() || !((h * about.homogeneous()).z() * h(2, 2) > 0)) return std::nullopt;
  const Point moved = map(h, about);
  const Eigen::Matrix2d j = jacobian(h, about);
  if (!moved.allFinite() || !(j.determinant() > 0)) return std::nullopt;
  if (parts.all()) return h;
  const double size = std::sqrt(j.determinant()), angle = std::atan2(j(1, 0) - j(0, 1), j(0, 0) + j(1, 1));
  Matrix3 turn = Matrix3::Identity();
  turn.topLeftCorner<2, 2>() = Eigen::Rotation2Dd(angle).toRotationMatrix();
  const Matrix3 scale = scaling(size, size);
  const Matrix3 around = translation(-moved.x(), -moved.y()) * h * translation(about.x(), about.y());
  Matrix3 made = Matrix3::Identity();
  if (parts.rest) made = scaling(1 / size, 1 / size) * turn.transpose() * around;
  if (parts.scale) made = scale * made;
  if (parts.turn) made = turn * made;
  const Point to = parts.move ? moved : about;
  return normalised(translation(to.x(), to.y()) * made * translation(-about.x(), -about.y()));
}

Result<Motion> derived(const Motion& motion, const Motion* against, const Motion* onto, const Arithmetic& a) {
  const std::array<const Motion*, 3> from{&motion, against, onto};
  constexpr std::array<std::string_view, 3> kRole{"the motion", "the motion it is held against",
                                                  "the motion it is put onto"};
  std::array<Matrix3, 3> ref_from_own;  // From the reference frame of the result to that of each.
  ref_from_own.fill(Matrix3::Identity());
  for (size_t k = 1; k < 3; ++k) {
    if (!from[k]) continue;
    if (from[k]->width != motion.width || from[k]->height != motion.height)
      return fail(Problem{.what = fmt::format("{} is of a plate of {}x{}, the motion of one of {}x{}", kRole[k],
                                              from[k]->width, from[k]->height, motion.width, motion.height),
                          .remedy = "use motions of one plate"});
    const auto there = from[k]->at(motion.reference);
    if (!there)
      return fail(Problem{.what = fmt::format("{} is not known at frame {}, the reference", kRole[k], motion.reference),
                          .remedy = "use a reference frame that both motions know"});
    ref_from_own[k] = *there;
  }
  const Point about = a.about.value_or(middle(motion.region)), place = a.place.value_or(about);
  const Point offset = place - about;
  const Derive derive = [&](const std::array<Matrix3, 3>& poses) -> std::optional<Matrix3> {
    Matrix3 h = poses[0];
    if (against) h = ref_from_own[1] * poses[1].inverse() * h;
    const auto some = kept(normalised(h), about, a.keep);
    if (!some) return std::nullopt;
    h = a.inverse ? Matrix3(some->inverse()) : *some;
    if (!offset.isZero()) h = translation(offset.x(), offset.y()) * h * translation(-offset.x(), -offset.y());
    if (onto) h = poses[2] * ref_from_own[2].inverse() * h;
    h = normalised(h);
    if (!h.allFinite() || h(2, 2) != 1) return std::nullopt;
    return h;
  };

  Motion made = motion;
  for (Point& p : made.region) p += offset;
  made.poses.clear();
  for (const Pose& own : motion.poses) {
    Pose pose;
    pose.frame = own.frame;
    std::array<const Pose*, 3> parts{&own, nullptr, nullptr};
    std::array<Matrix3, 3> poses;
    poses.fill(Matrix3::Identity());
    const auto lose = [&pose](std::string why) { pose.status = TrackStatus::lost, pose.reason = std::move(why); };
    for (size_t k = 0; k < 3; ++k) {
      if (!from[k]) continue;
      if (k > 0) parts[k] = from[k]->find(own.frame);
      if (!parts[k]) {
        lose(fmt::format("{} does not have this frame", kRole[k]));
        break;
      }
      poses[k] = parts[k]->frame_from_ref;
      pose.residual = std::max(pose.residual, parts[k]->residual);
      if (parts[k]->status > pose.status) pose.status = parts[k]->status, pose.reason = parts[k]->reason;
    }
    const auto h = pose.status == TrackStatus::lost ? std::nullopt : derive(poses);
    if (pose.status != TrackStatus::lost && !h) lose("seen from there the thing is edge-on or mirrored");
    if (h) {
      pose.frame_from_ref = *h;
      Eigen::MatrixXd sum = Eigen::MatrixXd::Zero(2 * made.region.size(), 2 * made.region.size());
      bool known = true;
      for (size_t k = 0; k < 3 && known; ++k) {
        if (!from[k]) continue;
        const auto share = carried(*from[k], *parts[k], k, poses, derive, made.region);
        known = share && share->allFinite();
        if (known) sum += *share;
      }
      sum = (sum + sum.transpose().eval()) / 2;
      if (known) pose.corner_covariance.assign(sum.data(), sum.data() + sum.size());
    }
    made.poses.push_back(std::move(pose));
  }
  return made;
}

std::optional<Matrix3> calmed(const Motion& motion, int frame, double window_frames) {
  const auto own = motion.at(frame);
  const double half = window_frames / 2;
  if (!own || !(half > 1)) return own;
  const Quad from = corner_quad(motion.region);
  double s0 = 0, s1 = 0, s2 = 0;
  std::array<Point, 4> y0, y1;
  y0.fill(Point(0, 0)), y1.fill(Point(0, 0));
  for (const Pose& p : motion.poses) {
    const double d = p.frame - frame, u = std::abs(d) / half;
    if (p.status == TrackStatus::lost || u >= 1) continue;
    const double w = std::pow(1 - u * u * u, 3);
    s0 += w, s1 += w * d, s2 += w * d * d;
    for (int k = 0; k < 4; ++k) {
      const Point at = map(p.frame_from_ref, from[k]);
      y0[k] += w * at, y1[k] += w * d * at;
    }
  }
  const double det = s0 * s2 - s1 * s1;
  Quad to{Point(0, 0), Point(0, 0), Point(0, 0), Point(0, 0)};
  for (int k = 0; k < 4; ++k) to[k] = det > 1e-9 * s0 * s0 ? Point((s2 * y0[k] - s1 * y1[k]) / det) : Point(y0[k] / s0);
  return homography(from, to);
}

}  // namespace pw
