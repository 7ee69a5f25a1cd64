#include "track/start.h"

#include <algorithm>
#include <cmath>
#include <opencv2/calib3d.hpp>
#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>
#include <opencv2/video/tracking.hpp>
#include <vector>

#include "track/region.h"

namespace pw {

struct FeatureImage::Pixels {
  cv::Mat image;  // Pixel (0, 0) is the plate's.
};

FeatureImage::FeatureImage() = default;
FeatureImage::~FeatureImage() = default;
FeatureImage::FeatureImage(FeatureImage&&) noexcept = default;
FeatureImage& FeatureImage::operator=(FeatureImage&&) noexcept = default;

FeatureImage::FeatureImage(const Picture& p) : pixels_(std::make_unique<Pixels>()) {
  const Rect w = p.window();
  cv::Mat grey(w.height(), w.width(), CV_32F);
  double sum = 0;
  for (int y = 0; y < w.height(); ++y) {
    const float* in = p.row(w.y0 + y);
    float* out = grey.ptr<float>(y);
    for (int x = 0; x < w.width(); ++x, in += p.channels()) {
      const float luma = p.channels() >= 3 ? 0.2126f * in[0] + 0.7152f * in[1] + 0.0722f * in[2] : in[0];
      out[x] = std::sqrt(std::max(0.f, luma));
      sum += out[x];
    }
  }
  // Brought to the same mean, so that dark pictures keep their texture and lightning does not clip.
  const double mean = sum / std::max<int64_t>(1, w.area());
  grey.convertTo(pixels_->image, CV_8U, 110 / std::max(1e-4, mean));
}

namespace {

// Positions counted from pixel centres, as OpenCV does.
cv::Point2f to_cv(const Point& p) { return {float(p.x() - 0.5), float(p.y() - 0.5)}; }
Point from_cv(const cv::Point2f& p) { return {p.x + 0.5, p.y + 0.5}; }

std::optional<Guess> robust(const std::vector<cv::Point2f>& from, const std::vector<cv::Point2f>& to,
                            double threshold) {
  if (from.size() < 8) return std::nullopt;
  std::vector<uchar> inlier;
  const cv::Mat h = cv::findHomography(from, to, cv::USAC_MAGSAC, threshold, inlier, 2000, 0.999);
  if (h.rows != 3) return std::nullopt;
  Guess g;
  for (int r = 0; r < 3; ++r)
    for (int c = 0; c < 3; ++c) g.h(r, c) = h.at<double>(r, c);
  if (!g.h.allFinite()) return std::nullopt;
  g.h = from_pixel_centres(g.h);
  g.tried = static_cast<int>(from.size());
  g.inliers = static_cast<int>(std::count(inlier.begin(), inlier.end(), 1));
  return g;
}

cv::Mat mask_of(std::span<const Point> polygon, const Rect& window, const std::function<bool(const Point&)>& usable) {
  const std::vector<float> share = coverage(polygon, window);
  cv::Mat mask(window.height(), window.width(), CV_8U);
  size_t i = 0;
  for (int y = 0; y < window.height(); ++y)
    for (int x = 0; x < window.width(); ++x, ++i)
      mask.at<uchar>(y, x) =
          share[i] > 0.5f && (!usable || usable(Point(window.x0 + x + 0.5, window.y0 + y + 0.5))) ? 255 : 0;
  return mask;
}

}  // namespace

std::optional<Guess> follow(const FeatureImage& from, const FeatureImage& to, std::span<const Point> polygon,
                            const std::function<bool(const Point&)>& usable, const Matrix3& expected) {
  const cv::Mat &a = from.pixels().image, &b = to.pixels().image;
  const Rect window = intersect(bounds(polygon), Rect::sized(a.cols, a.rows));
  if (window.width() < 8 || window.height() < 8) return std::nullopt;
  const cv::Rect part(window.x0, window.y0, window.width(), window.height());
  std::vector<cv::Point2f> corners;
  cv::goodFeaturesToTrack(a(part), corners, 300, 0.005, 5, mask_of(polygon, window, usable));
  if (corners.size() < 8) return std::nullopt;
  std::vector<cv::Point2f> start, found, back;
  for (cv::Point2f& c : corners) {
    c += cv::Point2f(float(window.x0), float(window.y0));
    start.push_back(to_cv(map(expected, from_cv(c))));
  }
  found = start;
  std::vector<uchar> ok;
  const cv::Size side(17, 17);
  const cv::TermCriteria stop(cv::TermCriteria::COUNT | cv::TermCriteria::EPS, 20, 0.02);
  cv::calcOpticalFlowPyrLK(a, b, corners, found, ok, cv::noArray(), side, 3, stop, cv::OPTFLOW_USE_INITIAL_FLOW);
  std::vector<cv::Point2f> p, q;
  for (size_t i = 0; i < corners.size(); ++i)
    if (ok[i] && found[i].x >= 0 && found[i].y >= 0 && found[i].x < float(b.cols) && found[i].y < float(b.rows))
      p.push_back(corners[i]), q.push_back(found[i]);
  return robust(p, q, 1.5);
}

struct Finder::Features {
  std::vector<cv::KeyPoint> points;
  cv::Mat descriptors;
};

namespace {
cv::Ptr<cv::SIFT> sift() { return cv::SIFT::create(2500, 3, 0.02); }
}  // namespace

Finder::Finder(const FeatureImage& reference, std::span<const Point> region,
               const std::function<bool(const Point&)>& usable)
    : features_(std::make_unique<Features>()) {
  const cv::Mat& image = reference.pixels().image;
  sift()->detectAndCompute(image, mask_of(region, Rect::sized(image.cols, image.rows), usable), features_->points,
                           features_->descriptors);
}

Finder::~Finder() = default;

std::optional<Guess> Finder::find(const FeatureImage& frame) const {
  if (features_->points.size() < 8) return std::nullopt;
  std::vector<cv::KeyPoint> points;
  cv::Mat descriptors;
  sift()->detectAndCompute(frame.pixels().image, cv::noArray(), points, descriptors);
  if (points.size() < 8) return std::nullopt;
  std::vector<std::vector<cv::DMatch>> matches;
  cv::BFMatcher(cv::NORM_L2).knnMatch(features_->descriptors, descriptors, matches, 2);
  std::vector<cv::Point2f> p, q;
  for (const auto& m : matches)
    if (m.size() == 2 && m[0].distance < 0.8f * m[1].distance)
      p.push_back(features_->points[m[0].queryIdx].pt), q.push_back(points[m[0].trainIdx].pt);
  return robust(p, q, 3);
}

}  // namespace pw
