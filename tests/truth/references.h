// What trackers are compared with, by OpenCV. Homographies are frame_from_ref between pixel centres.
#pragma once
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>
#include <opencv2/video/tracking.hpp>
#include <optional>
#include <span>
#include <vector>

#include "base/transform.h"
#include "comp/colour/difference.h"

namespace pw {

inline cv::Mat cv_matrix(const Matrix3& h, int type) {
  cv::Mat m(3, 3, CV_64F);
  for (int i = 0; i < 9; ++i) m.at<double>(i / 3, i % 3) = h(i / 3, i % 3);
  m.convertTo(m, type);
  return m;
}
inline Matrix3 from_cv_matrix(const cv::Mat& given) {
  cv::Mat m;
  given.convertTo(m, CV_64F);
  Matrix3 h;
  for (int i = 0; i < 9; ++i) h(i / 3, i % 3) = m.at<double>(i / 3, i % 3);
  return h;
}

// sRGB code values 0..1 of a scene-linear picture, grey.
inline cv::Mat cv_grey(const Picture& picture) {
  const Picture p = encoded(picture, Encoding::srgb);
  const cv::Mat rgb(p.window().height(), p.window().width(), CV_32FC3, const_cast<float*>(p.row(0)));
  cv::Mat one;
  cv::cvtColor(rgb, one, cv::COLOR_RGB2GRAY);
  return one;
}
inline cv::Mat eight_bits(const cv::Mat& grey) {
  cv::Mat m;
  grey.convertTo(m, CV_8U, 255);
  return m;
}

inline cv::Mat cv_mask(std::span<const Point> region, const cv::Size& size) {
  std::vector<cv::Point> corners;
  for (const Point& p : region) corners.emplace_back(int(std::lround(p.x() - 0.5)), int(std::lround(p.y() - 0.5)));
  cv::Mat mask = cv::Mat::zeros(size, CV_8U);
  cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{corners}, 255);
  return mask;
}

// One frame on by KLT: corners of the last frame within the region (at most 400, quality 0.01, 5 px apart), pyramidal
// Lucas and Kanade (21 x 21, 3 levels), RANSAC (2 px). Pictures of 8 bits; nothing when too few corners were found
// again.
inline std::optional<Matrix3> klt_step(const cv::Mat& last, const cv::Mat& now, const cv::Mat& mask, const Matrix3& h) {
  cv::Mat here;
  cv::warpPerspective(mask, here, cv_matrix(h, CV_64F), mask.size(), cv::INTER_NEAREST);
  std::vector<cv::Point2f> from, to, a, b;
  cv::goodFeaturesToTrack(last, from, 400, 0.01, 5, here);
  if (from.size() < 8) return {};
  std::vector<unsigned char> ok;
  std::vector<float> error;
  cv::calcOpticalFlowPyrLK(last, now, from, to, ok, error, {21, 21}, 3);
  for (size_t i = 0; i < from.size(); ++i)
    if (ok[i]) a.push_back(from[i]), b.push_back(to[i]);
  if (a.size() < 8) return {};
  cv::theRNG().state = 1;
  const cv::Mat step = cv::findHomography(a, b, cv::RANSAC, 2);
  if (step.empty()) return {};
  return normalised(from_cv_matrix(step) * h);
}

// findTransformECC (homography, 50 iterations, 1e-5, Gaussian 5) of the reference frame's box against a frame, from `h`
// on; nothing when it gives up.
inline std::optional<Matrix3> ecc_from(const cv::Mat& reference, const cv::Rect& box, const cv::Mat& now,
                                       const Matrix3& h) {
  const Matrix3 whole_from_box = translation(box.x, box.y);
  cv::Mat warp = cv_matrix(normalised(h * whole_from_box), CV_32F);
  try {
    cv::findTransformECC(reference(box), now, warp, cv::MOTION_HOMOGRAPHY,
                         cv::TermCriteria(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 50, 1e-5), cv::noArray(), 5);
  } catch (const cv::Exception&) {  // It throws when it does not converge.
    return {};
  }
  return normalised(from_cv_matrix(warp) * whole_from_box.inverse());
}

}  // namespace pw
