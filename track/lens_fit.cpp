#include "track/lens_fit.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "track/normal.h"

namespace pw {
namespace {

constexpr int kRounds = 60;
constexpr double kMostSd = 0.02;
constexpr double kLeastPull = 1e-10;  // Of what the lens moves, that homographies cannot move as well, squared.

// d seen / d (k1, k2) at an ideal point.
Eigen::Matrix2d by_terms(const Point& ideal, double width, double height) {
  const Point d = ideal - Point(width / 2, height / 2);
  const double r2 = d.squaredNorm() / (0.25 * (width * width + height * height));
  Eigen::Matrix2d m;
  m.col(0) = d * r2, m.col(1) = d * (r2 * r2);
  return m;
}

double tukey(double u) { return u < 1 ? (1 - u * u) * (1 - u * u) : 0; }

struct State {
  Lens lens;
  std::vector<Matrix3> h;
};

}  // namespace

std::optional<LensPrediction> predict_seen(const Lens& lens, const Matrix3& h, const Point& in_reference, double width,
                                           double height) {
  const auto ref = ideal_from_seen(lens, in_reference, width, height);
  if (!ref) return std::nullopt;
  const Point ideal = map(h, *ref);
  const auto seen = seen_from_ideal(lens, ideal, width, height);
  if (!seen) return std::nullopt;
  const Eigen::Matrix2d out = jacobian(lens, ideal, width, height), moved = out * jacobian(h, *ref);
  LensPrediction p;
  p.seen = *seen;
  p.by_motion = moved * motion_jacobian(*ref, Point(width / 2, height / 2), 0.5 * std::hypot(width, height));
  p.by_lens = by_terms(ideal, width, height) -
              moved * jacobian(lens, *ref, width, height).inverse() * by_terms(*ref, width, height);
  return p;
}

Result<LensFit> fit_lens(std::span<const Sight> sights, double width, double height, int terms) {
  const auto refuse = [](std::string why) {
    return fail(Problem{.what = "the lens is not seen well enough: " + std::move(why),
                        .remedy = "use a plane that fills more of the picture and moves across it, or give k1"});
  };
  const Point centre(width / 2, height / 2);
  const double radius = 0.5 * std::hypot(width, height);
  State now;
  size_t points = 0;
  for (const Sight& s : sights) {
    const auto h = homography(s.in_reference, s.in_frame);
    if (!h) return refuse(fmt::format("the places of frame {} fix no homography", s.frame));
    now.h.push_back(*h);
    points += s.in_frame.size();
  }
  if (2 * points < 8 * sights.size() + 8 || sights.empty())
    return refuse(fmt::format("only {} places were found", points));

  // Distances left, and their median, which the robust weights go by.
  const auto distances = [&](const State& s) {
    std::vector<double> all;
    for (size_t f = 0; f < sights.size(); ++f)
      for (size_t i = 0; i < sights[f].in_frame.size(); ++i) {
        const auto p = predict_seen(s.lens, s.h[f], sights[f].in_reference[i], width, height);
        all.push_back(p ? (p->seen - sights[f].in_frame[i]).norm() : 1e9 * radius);
      }
    return all;
  };
  const auto limit_of = [&](std::vector<double> d) {
    std::nth_element(d.begin(), d.begin() + d.size() / 2, d.end());
    // For two coordinates the median distance is 1.177 standard deviations.
    return std::max(4.685 * d[d.size() / 2] / 1.177, 1e-9 * radius);
  };
  const auto cost_of = [&](const std::vector<double>& d, double limit) {
    double sum = 0;
    for (double v : d) sum += v < limit ? 1 - std::pow(1 - v * v / (limit * limit), 3) : 1;
    return sum;
  };

  using Shared = Eigen::Matrix2d;
  double damping = 1e-3, weights = 0, squares = 0;
  Shared pull = Shared::Zero(), whole = Shared::Zero();
  std::vector<double> left = distances(now);
  for (int round = 0; round < kRounds; ++round) {
    const double limit = limit_of(left);
    struct Frame {
      Eigen::Matrix<double, 8, 8> a = Eigen::Matrix<double, 8, 8>::Zero();
      Eigen::Matrix<double, 8, 2> b = Eigen::Matrix<double, 8, 2>::Zero();
      Eigen::Matrix<double, 8, 1> r = Eigen::Matrix<double, 8, 1>::Zero();
    };
    std::vector<Frame> frames(sights.size());
    Shared c = Shared::Zero();
    Eigen::Vector2d rc = Eigen::Vector2d::Zero();
    weights = squares = 0;
    size_t k = 0;
    for (size_t f = 0; f < sights.size(); ++f)
      for (size_t i = 0; i < sights[f].in_frame.size(); ++i, ++k) {
        const double w = tukey(left[k] / limit);
        if (w == 0) continue;
        const auto p = predict_seen(now.lens, now.h[f], sights[f].in_reference[i], width, height);
        Eigen::Matrix2d lens = p->by_lens;
        if (terms < 2) lens.col(1).setZero();
        const Point r = sights[f].in_frame[i] - p->seen;
        frames[f].a += w * p->by_motion.transpose() * p->by_motion;
        frames[f].b += w * p->by_motion.transpose() * lens;
        frames[f].r += w * p->by_motion.transpose() * r;
        c += w * lens.transpose() * lens, rc += w * lens.transpose() * r;
        weights += w, squares += w * r.squaredNorm();
      }
    const auto reduced = [&](double more, Shared& s, Eigen::Vector2d& rs) {
      s = c, rs = rc;
      for (const Frame& f : frames) {
        Eigen::Matrix<double, 8, 8> a = f.a;
        a.diagonal() *= 1 + more;
        const auto solver = a.ldlt();
        s -= f.b.transpose() * solver.solve(f.b);
        rs -= f.b.transpose() * solver.solve(f.r);
      }
    };
    Eigen::Vector2d rs;
    reduced(0, pull, rs);
    whole = c;
    bool better = false;
    double step_size = 0;
    for (int attempt = 0; attempt < 12 && !better; ++attempt) {
      Shared s;
      reduced(damping, s, rs);
      s.diagonal() *= 1 + damping;
      s(0, 0) += 1e-12 * c(0, 0);
      if (terms < 2) s(1, 1) = 1;
      const Eigen::Vector2d dk = s.ldlt().solve(rs);
      State next = now;
      next.lens.k1 += dk[0];
      if (terms > 1) next.lens.k2 += dk[1];
      for (size_t f = 0; f < frames.size(); ++f) {
        Eigen::Matrix<double, 8, 8> a = frames[f].a;
        a.diagonal() *= 1 + damping;
        next.h[f] =
            normalised(now.h[f] * small_homography(a.ldlt().solve(frames[f].r - frames[f].b * dk), centre, radius));
      }
      const bool sound = covers_picture(next.lens) && std::abs(next.lens.k1) <= 1 && std::abs(next.lens.k2) <= 1;
      const std::vector<double> after = sound ? distances(next) : std::vector<double>{};
      if (sound && cost_of(after, limit) <= cost_of(left, limit) * (1 + 1e-12)) {
        now = std::move(next), left = after, better = true;
        step_size = dk.cwiseAbs().maxCoeff();
        damping = std::max(1e-12, damping / 10);
      } else {
        damping *= 10;
      }
    }
    if (!better || (round > 3 && step_size < 1e-10)) break;
  }
  const double freedom = 2 * weights - 8 * double(sights.size()) - terms;
  if (!(freedom > 0)) return refuse("too few places agree");
  if (!(pull(0, 0) > kLeastPull * whole(0, 0)) || !(whole(0, 0) > 0))
    return refuse("what it does is what a homography does as well");
  if (terms < 2) pull(1, 1) = 1;
  const Eigen::Matrix2d covariance = pull.inverse() * (squares / freedom);
  now.lens.k1_sd = std::sqrt(covariance(0, 0));
  now.lens.k2_sd = terms > 1 ? std::sqrt(covariance(1, 1)) : 0;
  if (!(now.lens.k1_sd <= kMostSd)) return refuse(fmt::format("k1 is known to {:.2f} only", now.lens.k1_sd));
  return LensFit{now.lens, std::move(now.h), std::sqrt(squares / std::max(1e-300, weights))};
}

}  // namespace pw
