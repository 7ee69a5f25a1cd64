// The nine drawn plane sequences, each of five seeds: how far the tracker is from the truth, beside
// cv::findTransformECC started from KLT, and the Cramer-Rao bound. The tracker and the reference get the frames, the
// region as a person would draw it, and the shutter's angle as a person would know it from the camera; truth,
// noise-free frames and sigmas are opened for the score and the bound alone.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <ctime>
#include <iterator>
#include <string>

#include "bars.h"
#include "drawn.h"
#include "references.h"
#include "track/bound.h"
#include "track/plane.h"
#include "track/score.h"

namespace pw {
namespace {

constexpr const char* kNames[] = {"drift", "zoom", "spin", "skew", "blur", "hidden", "storm", "leave", "night"};
constexpr int kSeeds = 5;  // Of the paint, the noise and what moves in front; the motions are the same.
// Of every how many frames the references are asked: both are slow.
constexpr int kEcc = 3, kBound = 6;

std::string folder(const std::string& name, int seed) {
  return std::string(PW_DRAWN) + (seed > 1 ? fmt::format("_{}", seed) : "") + "/" + name;
}

Picture read(const std::string& pattern, int frame, ReadOptions options = {}) {
  return drawn_frame(pattern, frame, options);
}

// Processor time of this thread, seconds.
double thread_seconds() {
  timespec t;
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
  return double(t.tv_sec) + 1e-9 * double(t.tv_nsec);
}

cv::Mat grey(const std::string& folder, int frame) { return cv_grey(read(folder + "/f.####.png", frame)); }

// RMS corner error of ECC against the reference frame, every kEcc-th frame, each started from its last answer carried
// on by KLT; from KLT alone where ECC gives up.
double ecc_rms(const std::string& folder, const Motion& truth) {
  const cv::Mat reference = grey(folder, 1), mask = cv_mask(truth.region, reference.size());
  const cv::Rect box = cv::boundingRect(mask);
  cv::Mat last = eight_bits(reference);
  Matrix3 h = Matrix3::Identity();
  double sum = 0;
  int count = 0;
  for (int f = 2; f <= truth.poses.back().frame; ++f) {
    const cv::Mat now = grey(folder, f), now8 = eight_bits(now);
    h = klt_step(last, now8, mask, h).value_or(h);
    if (f % kEcc == 0) {
      h = ecc_from(reference, box, now, h).value_or(h);
      double squares = 0;
      for (const Point& c : truth.region)
        squares += (map(from_pixel_centres(h), c) - map(truth.find(f)->frame_from_ref, c)).squaredNorm();
      sum += squares / truth.region.size();
      ++count;
    }
    last = now8;
  }
  return std::sqrt(sum / count);
}

// The track's own over the frames that ECC is asked of.
double rms_beside_ecc(const TrackScore& s) {
  double sum = 0;
  int count = 0;
  for (const FrameScore& f : s.frames)
    if (f.known && f.frame % kEcc == 0) sum += f.rms_px * f.rms_px, ++count;
  return std::sqrt(sum / std::max(1, count));
}

double bound_rms(const std::string& folder, const Motion& truth, bool hidden) {
  const ReadOptions as_is{Encoding::linear};
  auto clean = [&](int f) { return read(folder + "/clean/f.####.png", f, as_is); };
  auto sigma = [&](int f) { return read(folder + "/sigma/f.####.exr", f, as_is); };
  BoundInput in;
  in.reference = clean(1), in.reference_sigma = sigma(1), in.region = truth.region;
  double sum = 0;
  int count = 0;
  for (int f = 1 + kBound; f <= truth.poses.back().frame; f += kBound) {
    in.frame = clean(f), in.frame_sigma = sigma(f);
    if (hidden) in.hidden = read(folder + "/matte/f.####.png", f, as_is);
    in.frame_from_ref = truth.find(f)->frame_from_ref;
    if (const auto b = corner_bound(in)) sum += *b * *b, ++count;
  }
  return std::sqrt(sum / count);
}

// Whether the corners are as wrong as the track says. For each frame e' C^-1 e of the eight coordinates of the corners,
// which follows chi^2 with 8 degrees of freedom when C is right.
struct Calibration {
  double nees = 0;             // Its mean, divided by 8.
  int frames = 0, inside = 0;  // Of them inside the 95 % ellipsoid.
};
Calibration calibration(const Motion& track, const Motion& truth) {
  constexpr double kChi95 = 15.507;
  Calibration c;
  for (const Pose& p : track.poses) {
    const Pose* right = truth.find(p.frame);
    if (p.frame == track.reference || !right || p.status == TrackStatus::lost || p.corner_covariance.size() != 64)
      continue;
    Eigen::Matrix<double, 8, 1> e;
    for (int k = 0; k < 4; ++k)
      e.segment<2>(2 * k) = map(p.frame_from_ref, truth.region[k]) - map(right->frame_from_ref, truth.region[k]);
    const Eigen::Map<const Eigen::Matrix<double, 8, 8>> covariance(p.corner_covariance.data());
    const double square = e.dot(covariance.ldlt().solve(e));
    c.nees += square / 8;
    c.inside += square < kChi95;
    ++c.frames;
  }
  c.nees /= std::max(1, c.frames);
  return c;
}

double median(std::vector<double> v) {
  if (v.empty()) return 0;
  std::nth_element(v.begin(), v.begin() + v.size() / 2, v.end());
  return v[v.size() / 2];
}

struct Row {
  TrackScore score;
  Calibration calibration;
  int flagged = 0;
  double ecc = 0, bound = 0;
  double ms = 0;  // Median processor time of a frame.
};

void measure(const std::string& name, int seed, Row& row) {
  const std::string from = folder(name, seed);
  const Motion truth = drawn_truth(from);
  PlaneOptions options;
  options.reference = truth.reference;
  options.region = truth.region;
  // The camera of blur has its shutter open for three quarters of a frame, the others' for half.
  const Decoded frames(DrawnFrames(from, truth.poses.back().frame, name == "blur" ? 270 : 180));
  const int each = frames.last() - frames.first();
  std::vector<double> first_pass, second_pass;
  double last_time = thread_seconds();
  int last_done = 0;
  const auto clock = [&](int done, int) {
    const double now = thread_seconds();
    (done <= each ? first_pass : second_pass).push_back(1000 * (now - last_time) / (done - last_done));
    last_time = now, last_done = done;
    return true;
  };
  const auto track = track_plane(frames, options, serial(), clock);
  ASSERT_TRUE(track) << from << ": " << to_string(track.error());
  row.score = score(*track, truth);
  row.calibration = calibration(*track, truth);
  row.ms = median(first_pass) + median(second_pass);
  for (const Pose& p : track->poses) row.flagged += p.status != TrackStatus::good;
  row.ecc = ecc_rms(from, truth);
  row.bound = bound_rms(from, truth, name == "hidden");
}

// Of one plane over its seeds: root mean squares, the worst, sums.
struct Pooled {
  double rms = 0, worst = 0, ecc = 0, beside_ecc = 0, bound = 0, nees = 0, ms = 0;
  int lost = 0, flagged = 0, frames = 0, inside = 0;
};
Pooled pooled(const std::vector<Row>& seeds) {
  Pooled p;
  for (const Row& r : seeds) {
    const double beside = rms_beside_ecc(r.score);
    p.rms += r.score.rms_px * r.score.rms_px, p.ecc += r.ecc * r.ecc;
    p.beside_ecc += beside * beside, p.bound += r.bound * r.bound;
    p.worst = std::max(p.worst, r.score.worst_px), p.ms += r.ms / seeds.size();
    p.lost += r.score.lost, p.flagged += r.flagged;
    p.nees += r.calibration.nees * r.calibration.frames;
    p.frames += r.calibration.frames, p.inside += r.calibration.inside;
  }
  for (double* square : {&p.rms, &p.ecc, &p.beside_ecc, &p.bound}) *square = std::sqrt(*square / seeds.size());
  p.nees /= std::max(1, p.frames);
  return p;
}

TEST(Planes, NineSequencesOfFiveSeeds) {
  cv::setNumThreads(1);
  std::vector<std::vector<Row>> rows(std::size(kNames), std::vector<Row>(kSeeds));
  arena(2)->run(rows.size() * kSeeds, [&](size_t i) {
    const size_t plane = i % rows.size(), seed = i / rows.size();
    measure(kNames[plane], int(seed) + 1, rows[plane][seed]);
  });
  fmt::print("\n{:<8}{:>10}{:>10}{:>8}{:>9}{:>12}{:>8}{:>12}{:>8}{:>9}{:>8}   rms px of each seed\n", "plane", "rms px",
             "worst px", "lost", "flagged", "bound px", "ratio", "ECC px", "NEES", "in 95 %", "ms");
  int lost = 0, frames = 0, inside = 0;
  double worst = 0, over_bound = 0, over_ecc = 0, nees = 0, first_worst = 0, first_over_bound = 0;
  for (size_t i = 0; i < rows.size(); ++i) {
    const Pooled p = pooled(rows[i]);
    lost += p.lost, frames += p.frames, inside += p.inside;
    fmt::print("{:<8}{:>10.4f}{:>10.4f}{:>8}{:>9}{:>12.4f}{:>8.2f}{:>12.4f}{:>8.2f}{:>9.1f}{:>8.1f}  ", kNames[i],
               p.rms, p.worst, p.lost, p.flagged, p.bound, p.rms / p.bound, p.ecc, p.nees,
               100.0 * p.inside / std::max(1, p.frames), p.ms);
    for (const Row& r : rows[i]) fmt::print(" {:.4f}", r.score.rms_px);
    fmt::print("\n");
    const double near = kNames[i] == std::string("blur") ? 0.05 : 0.03;
    const Row& first = rows[i][0];
    first_worst = std::max(first_worst, first.score.worst_px);
    first_over_bound = std::max(first_over_bound, first.score.rms_px / std::max(3 * first.bound, near));
    worst = std::max(worst, p.worst);
    over_bound = std::max(over_bound, p.rms / std::max(3 * p.bound, near));
    over_ecc = std::max(over_ecc, p.beside_ecc / p.ecc);
    nees = std::max({nees, p.nees / 2, 0.5 / p.nees});
    bar(fmt::format("planes.{}.rms_px", kNames[i]), first.score.rms_px);
  }
  fmt::print("inside the 95 % ellipsoid: {:.1f} % of all frames; ms: median processor time of a frame\n",
             100.0 * inside / std::max(1, frames));
  fmt::print("bound: root mean square over every {}th frame; ECC: every {}rd frame\n", kBound, kEcc);
  const double share = double(inside) / std::max(1, frames);
  bar("planes.lost", lost);
  bar("planes.first.worst_px", first_worst);
  bar("planes.first.over_bound", first_over_bound);
  bar("planes.worst_px", worst);
  bar("planes.over_bound", over_bound);
  bar("planes.over_ecc", over_ecc);
  bar("planes.nees", nees);
  bar("planes.inside_95", std::max({0.0, 0.9 - share, share - 0.99}));
}

}  // namespace
}  // namespace pw
