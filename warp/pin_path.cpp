#include "warp/pin_path.h"

#include <Eigen/LU>
#include <cmath>

namespace pw {
namespace {

// Moment i of `count`, frames from the middle one, of a shutter that opens and closes at -half and half.
double moment(int i, int count, double half) { return half * (2 * i + 1 - count) / count; }

// h with the sign that puts p before the camera.
Matrix3 facing(const Matrix3& h, const Point& p) {
  const double w = h(2, 0) * p.x() + h(2, 1) * p.y() + h(2, 2);
  return w < 0 ? Matrix3(-h) : h;
}

Point middle(const std::vector<Point>& region) {
  Point sum(0, 0);
  for (const Point& p : region) sum += p;
  return region.empty() ? sum : Point(sum / static_cast<double>(region.size()));
}

// Where places of frame `f`, smeared while frame k's shutter is open, lie at its moments: H_f H(k + t)^-1 H_k H_f^-1,
// in coordinates of f. Empty when the motion does not know them.
std::vector<Matrix3> looks(const Motion& motion, int k, double shutter_deg, const Matrix3& frame_from_k, int count) {
  std::vector<Matrix3> list;
  if (!(shutter_deg > 0)) return list;
  const Matrix3 k_from_frame = frame_from_k.inverse();
  for (int i = 0; i < count; ++i) {
    const auto h = motion.between(k, k + moment(i, count, shutter_deg / 720));
    if (!h) return {};
    list.push_back(frame_from_k * *h * k_from_frame);
  }
  return list;
}

}  // namespace

std::optional<PinPath> PinPath::make(const Pin& pin) {
  const Motion& m = pin.motion;
  const auto frame = m.at(pin.frame);
  const auto h = pin.own_frame ? m.between(pin.frame, *pin.own_frame) : frame;
  const auto own = pin.own_frame ? m.at(*pin.own_frame) : std::optional(Matrix3(Matrix3::Identity()));
  if (!frame || !h || !own) return std::nullopt;
  PinPath path;
  path.pin_ = &pin;
  path.own_frame_ = pin.own_frame.value_or(m.reference);
  const Point centre = middle(m.region);
  path.seen_ = map(*frame, centre);
  path.frame_from_still_ = facing(*h, map(*own, centre));
  path.wanted_ = looks(m, pin.frame, pin.shutter_deg, Matrix3::Identity(), kLooks);
  for (int k : pin.smeared_by)
    if (const auto from_k = m.between(pin.frame, k)) {
      path.present_.push_back(looks(m, k, pin.own_shutter_deg, *from_k, kLooks));
      path.present_frame_.push_back(k);
    }
  return path;
}

std::vector<Matrix3> PinPath::moments(int count) const {
  std::vector<Matrix3> list;
  const Matrix3 still_from_frame = frame_from_still_.inverse();
  for (int i = 0; i < count; ++i) {
    const double t = moment(i, count, pin_->shutter_deg / 720);
    if (2 * i + 1 == count) {
      list.push_back(still_from_frame);
    } else {
      const auto h = pin_->motion.between(pin_->frame, pin_->frame + t);
      list.push_back(still_from_frame * (h ? facing(*h, seen_) : Matrix3(Matrix3::Identity())));
    }
  }
  return list;
}

std::optional<Point> PinPath::still_from_frame(const Point& p, double moment) const {
  if (moment == 0 && own()) return p;
  const Motion& m = pin_->motion;
  const auto ideal = m.ref_from_seen(pin_->frame + moment, p);
  return ideal ? m.seen_from_ref(own_frame_, *ideal) : std::nullopt;
}

std::vector<Bend> PinPath::bends(int count) const {
  std::vector<Bend> list;
  for (int i = 0; i < count; ++i) {
    double t = moment(i, count, pin_->shutter_deg / 720);
    if (!pin_->motion.at(pin_->frame + t)) t = 0;
    list.emplace_back([path = *this, t](const Point& p) { return path.still_from_frame(p, t); });
  }
  return list;
}

std::vector<Point> PinPath::wanted_path(const Point& p) const {
  std::vector<Point> q;
  for (size_t i = 0; i < wanted_.size(); ++i) {
    if (!bent()) {
      q.push_back(map(wanted_[i], p));
      continue;
    }
    const int f = pin_->frame;
    const auto at = pin_->motion.seen_between(f, f + moment(int(i), kLooks, pin_->shutter_deg / 720), p);
    if (!at) return {};
    q.push_back(*at);
  }
  return q;
}

std::vector<Point> PinPath::present_path(size_t k, const Point& p) const {
  std::vector<Point> q;
  const Motion& m = pin_->motion;
  const auto there = bent() ? m.seen_between(present_frame_[k], pin_->frame, p) : p;
  if (!there) return q;
  for (size_t i = 0; i < present_[k].size(); ++i) {
    if (!bent()) {
      q.push_back(map(present_[k][i], p));
      continue;
    }
    const double t = present_frame_[k] + moment(int(i), kLooks, pin_->own_shutter_deg / 720);
    const auto moved = m.seen_between(present_frame_[k], t, *there);
    const auto at = moved ? m.seen_between(pin_->frame, present_frame_[k], *moved) : std::nullopt;
    if (!at) return {};
    q.push_back(*at);
  }
  return q;
}

PinPath::Smear PinPath::smear(const Point& p) const {
  // Covariance of a path's points; also the way along them.
  const auto spread = [](const std::vector<Point>& q, double* way) {
    Eigen::Matrix2d sum = Eigen::Matrix2d::Zero();
    if (q.empty()) return sum;
    Point mean(0, 0);
    for (const Point& at : q) mean += at / kLooks;
    for (int i = 0; i < kLooks; ++i) {
      sum += (q[i] - mean) * (q[i] - mean).transpose() / kLooks;
      if (way && i > 0) *way += (q[i] - q[i - 1]).norm();
    }
    // A box looked at in n places has 1 - 1 / n^2 of its variance there; and n - 1 steps are that share of its way.
    if (way) *way *= double(kLooks) / (kLooks - 1);
    return Eigen::Matrix2d(sum / (1 - 1.0 / (kLooks * kLooks)));
  };
  Smear s;
  const Eigen::Matrix2d c = spread(wanted_path(p), &s.way);
  const double half = std::hypot((c(0, 0) - c(1, 1)) / 2, c(0, 1)), most = (c(0, 0) + c(1, 1)) / 2 + half;
  if (!std::isfinite(most) || !(most > 0)) return {};
  Point along = c(0, 0) >= c(1, 1) ? Point(most - c(1, 1), c(0, 1)) : Point(c(0, 1), most - c(0, 0));
  along = along.norm() > 0 ? Point(along.normalized()) : Point(1, 0);
  double present = 0;
  for (size_t k = 0; k < present_.size(); ++k)
    present += along.dot(spread(present_path(k, p), nullptr) * along) / double(present_.size());
  s.wanted = std::sqrt(12 * most);
  s.present = std::isfinite(present) ? std::sqrt(12 * std::max(0.0, present)) : 0;
  return s;
}

}  // namespace pw
