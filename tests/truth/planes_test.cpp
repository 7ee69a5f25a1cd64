// The nine drawn plane sequences: how far the tracker is from the truth, beside cv::findTransformECC started from KLT,
// and the Cramer-Rao bound. The tracker and the reference get the frames, the region as a person would draw it, and the
// shutter's angle as a person would know it from the camera; truth, noise-free frames and sigmas are opened for the
// score and the bound alone.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>
#include <iterator>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>
#include <opencv2/video/tracking.hpp>

#include "bars.h"
#include "comp/colour/difference.h"
#include "drawn.h"
#include "track/bound.h"
#include "track/plane.h"
#include "track/score.h"

namespace pw {
namespace {

constexpr const char* kNames[] = {"drift", "zoom", "spin", "skew", "blur", "hidden", "storm", "leave", "night"};
// Of every how many frames the references are asked: both are slow.
constexpr int kEcc = 3, kBound = 6;

std::string folder(const std::string& name) { return std::string(PW_DRAWN) + "/" + name; }

Motion truth_of(const std::string& name) { return drawn_truth(folder(name)); }

Picture read(const std::string& pattern, int frame, ReadOptions options = {}) {
  return drawn_frame(pattern, frame, options);
}

cv::Mat grey(const std::string& name, int frame) {
  const Picture p = encoded(read(folder(name) + "/f.####.png", frame), Encoding::srgb);
  const cv::Mat rgb(p.window().height(), p.window().width(), CV_32FC3, const_cast<float*>(p.row(0)));
  cv::Mat one;
  cv::cvtColor(rgb, one, cv::COLOR_RGB2GRAY);
  return one;
}

cv::Mat matrix(const Matrix3& h, int type) {
  cv::Mat m(3, 3, CV_64F);
  for (int i = 0; i < 9; ++i) m.at<double>(i / 3, i % 3) = h(i / 3, i % 3);
  m.convertTo(m, type);
  return m;
}
Matrix3 matrix(const cv::Mat& given) {
  cv::Mat m;
  given.convertTo(m, CV_64F);
  Matrix3 h;
  for (int i = 0; i < 9; ++i) h(i / 3, i % 3) = m.at<double>(i / 3, i % 3);
  return h;
}

// RMS corner error of findTransformECC (homography, 50 iterations, 1e-5, Gaussian 5) against the reference frame, every
// kEcc-th frame, each started from its last answer carried on by pyramidal Lucas and Kanade and RANSAC; from KLT alone
// where ECC gives up.
double ecc_rms(const std::string& name, const Motion& truth) {
  const cv::Mat reference = grey(name, 1);
  std::vector<cv::Point> corners;
  for (const Point& p : truth.region)
    corners.emplace_back(int(std::lround(p.x() - 0.5)), int(std::lround(p.y() - 0.5)));
  cv::Mat mask = cv::Mat::zeros(reference.size(), CV_8U);
  cv::fillConvexPoly(mask, corners, 255);
  const cv::Rect box = cv::boundingRect(corners) & cv::Rect({}, reference.size());
  const Matrix3 whole_from_box = translation(box.x, box.y);
  cv::Mat last8, now8;
  reference.convertTo(last8, CV_8U, 255);
  Matrix3 h = Matrix3::Identity();  // In pixel centres.
  double sum = 0;
  int count = 0;
  for (int f = 2; f <= truth.poses.back().frame; ++f) {
    const cv::Mat now = grey(name, f);
    now.convertTo(now8, CV_8U, 255);
    cv::Mat here;
    cv::warpPerspective(mask, here, matrix(h, CV_64F), mask.size(), cv::INTER_NEAREST);
    std::vector<cv::Point2f> from, to;
    cv::goodFeaturesToTrack(last8, from, 400, 0.01, 5, here);
    std::vector<unsigned char> ok;
    std::vector<float> error;
    if (from.size() >= 8) {
      cv::calcOpticalFlowPyrLK(last8, now8, from, to, ok, error, {21, 21}, 3);
      std::vector<cv::Point2f> a, b;
      for (size_t i = 0; i < from.size(); ++i)
        if (ok[i]) a.push_back(from[i]), b.push_back(to[i]);
      cv::theRNG().state = 1;
      if (a.size() >= 8)
        if (const cv::Mat step = cv::findHomography(a, b, cv::RANSAC, 2); !step.empty()) h = matrix(step) * h;
    }
    if (f % kEcc == 0) {
      cv::Mat warp = matrix(normalised(h * whole_from_box), CV_32F);
      try {
        cv::findTransformECC(reference(box), now, warp, cv::MOTION_HOMOGRAPHY,
                             cv::TermCriteria(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 50, 1e-5), cv::noArray(),
                             5);
        h = normalised(matrix(warp) * whole_from_box.inverse());
      } catch (const cv::Exception&) {
      }
      double squares = 0;
      for (const Point& c : truth.region)
        squares += (map(from_pixel_centres(h), c) - map(truth.find(f)->frame_from_ref, c)).squaredNorm();
      sum += squares / truth.region.size();
      ++count;
    }
    std::swap(last8, now8);
  }
  return std::sqrt(sum / count);
}

double bound_rms(const std::string& name, const Motion& truth) {
  const ReadOptions as_is{Encoding::linear};
  auto clean = [&](int f) { return read(folder(name) + "/clean/f.####.png", f, as_is); };
  auto sigma = [&](int f) { return read(folder(name) + "/sigma/f.####.exr", f, as_is); };
  BoundInput in;
  in.reference = clean(1), in.reference_sigma = sigma(1), in.region = truth.region;
  double sum = 0;
  int count = 0;
  for (int f = 1 + kBound; f <= truth.poses.back().frame; f += kBound) {
    in.frame = clean(f), in.frame_sigma = sigma(f);
    if (name == "hidden") in.hidden = read(folder(name) + "/matte/f.####.png", f, as_is);
    in.frame_from_ref = truth.find(f)->frame_from_ref;
    if (const auto b = corner_bound(in)) sum += *b * *b, ++count;
  }
  return std::sqrt(sum / count);
}

struct Row {
  TrackScore score;
  int flagged = 0;
  double ecc = 0, bound = 0;
};

TEST(Planes, NineSequences) {
  cv::setNumThreads(1);
  std::vector<Row> rows(std::size(kNames));
  arena(2)->run(rows.size(), [&](size_t i) {
    const std::string name = kNames[i];
    const Motion truth = truth_of(name);
    PlaneOptions options;
    options.reference = truth.reference;
    options.region = truth.region;
    const auto track = track_plane(
        // The camera of blur has its shutter open for three quarters of a frame, the others' for half.
        DrawnFrames(folder(name), truth.poses.back().frame, name == "blur" ? 270 : 180), options, serial());
    ASSERT_TRUE(track) << name << ": " << to_string(track.error());
    rows[i].score = score(*track, truth);
    for (const Pose& p : track->poses) rows[i].flagged += p.status != TrackStatus::good;
    rows[i].ecc = ecc_rms(name, truth);
    rows[i].bound = bound_rms(name, truth);
  });
  fmt::print("\n{:<8}{:>10}{:>10}{:>8}{:>9}{:>12}{:>8}{:>12}\n", "plane", "rms px", "worst px", "lost", "flagged",
             "bound px", "ratio", "ECC px");
  int lost = 0;
  for (size_t i = 0; i < rows.size(); ++i) {
    const Row& r = rows[i];
    lost += r.score.lost;
    fmt::print("{:<8}{:>10.4f}{:>10.4f}{:>8}{:>9}{:>12.4f}{:>8.2f}{:>12.4f}\n", kNames[i], r.score.rms_px,
               r.score.worst_px, r.score.lost, r.flagged, r.bound, r.score.rms_px / r.bound, r.ecc);
  }
  fmt::print("bound: root mean square over every {}th frame; ECC: every {}rd frame\n", kBound, kEcc);
  for (size_t i = 0; i < rows.size(); ++i) bar(fmt::format("planes.{}.rms_px", kNames[i]), rows[i].score.rms_px);
  bar("planes.lost", lost);
}

}  // namespace
}  // namespace pw
