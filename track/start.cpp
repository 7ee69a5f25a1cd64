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
namespace {

constexpr int kWindow = 17;          // Side of what is followed, shrunk pixels.
constexpr double kLeastSlope = 1.5;  // Grey values for each shrunk pixel: texture that stands out of usual grain.
constexpr double kComesBack = 0.5;   // What is followed there and back is further off than this when it was lost.

}  // namespace

struct FeatureImage::Pixels {
  cv::Mat image;
  Rect window;  // Of the plate, as much of it as fills whole pixels.
  int shrink = 1;
  // Positions counted from pixel centres, as OpenCV does.
  cv::Point2f from_plate(const Point& p) const {
    return {float((p.x() - window.x0) / shrink - 0.5), float((p.y() - window.y0) / shrink - 0.5)};
  }
  Point to_plate(const cv::Point2f& p) const {
    return {window.x0 + shrink * (p.x + 0.5), window.y0 + shrink * (p.y + 0.5)};
  }
};

FeatureImage::FeatureImage() = default;
FeatureImage::~FeatureImage() = default;
FeatureImage::FeatureImage(FeatureImage&&) noexcept = default;
FeatureImage& FeatureImage::operator=(FeatureImage&&) noexcept = default;

FeatureImage::FeatureImage(const Picture& p) : FeatureImage(p, p.window(), 1) {}

FeatureImage::FeatureImage(const Picture& p, const Rect& window, int shrink) : pixels_(std::make_unique<Pixels>()) {
  const Rect all = intersect(window, p.window());
  const int width = all.width() / shrink, height = all.height() / shrink;
  pixels_->shrink = shrink;
  if (width < 1 || height < 1) return;
  const Rect w = pixels_->window = {all.x0, all.y0, all.x0 + width * shrink, all.y0 + height * shrink};
  cv::Mat grey(w.height(), w.width(), CV_32F);
  for (int y = 0; y < w.height(); ++y) {
    const float* in = p.at(w.x0, w.y0 + y);
    float* out = grey.ptr<float>(y);
    for (int x = 0; x < w.width(); ++x, in += p.channels())
      out[x] = std::max(0.f, p.channels() >= 3 ? 0.2126f * in[0] + 0.7152f * in[1] + 0.0722f * in[2] : in[0]);
  }
  if (shrink > 1) cv::resize(grey, grey, {width, height}, 0, 0, cv::INTER_AREA);
  cv::sqrt(grey, grey);
  // Brought to the same mean, so that dark pictures keep their texture and lightning does not clip.
  grey.convertTo(pixels_->image, CV_8U, 110 / std::max(1e-4, cv::mean(grey)[0]));
}

namespace {

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

// Which pixels of `window` lie inside the polygon and show the plane, both counted in the image's own pixels.
cv::Mat mask_of(std::span<const Point> polygon, const Rect& window, const FeatureImage::Pixels& pixels,
                const std::function<bool(const Point&)>& usable) {
  const std::vector<float> share = coverage(polygon, window);
  cv::Mat mask(window.height(), window.width(), CV_8U);
  size_t i = 0;
  for (int y = 0; y < window.height(); ++y)
    for (int x = 0; x < window.width(); ++x, ++i) {
      const cv::Point2f at(float(window.x0 + x), float(window.y0 + y));
      mask.at<uchar>(y, x) = share[i] > 0.5f && (!usable || usable(pixels.to_plate(at))) ? 255 : 0;
    }
  return mask;
}

}  // namespace

std::optional<Guess> follow(const FeatureImage& from, const FeatureImage& to, std::span<const Point> polygon,
                            const std::function<bool(const Point&)>& usable, const Matrix3& expected) {
  const FeatureImage::Pixels &a = from.pixels(), &b = to.pixels();
  std::vector<Point> own;
  for (const Point& p : polygon) own.push_back((p - Point(a.window.x0, a.window.y0)) / a.shrink);
  const Rect window = intersect(bounds(own), Rect::sized(a.image.cols, a.image.rows));
  if (window.width() < 8 || window.height() < 8 || b.image.empty()) return std::nullopt;
  const cv::Rect part(window.x0, window.y0, window.width(), window.height());
  std::vector<cv::Point2f> corners;
  cv::goodFeaturesToTrack(a.image(part), corners, 300, 0.005, 5, mask_of(own, window, a, usable));
  if (corners.size() < 8) return std::nullopt;
  std::vector<cv::Point2f> found;
  for (cv::Point2f& c : corners) {
    c += cv::Point2f(float(window.x0), float(window.y0));
    found.push_back(b.from_plate(map(expected, a.to_plate(c))));
  }
  std::vector<uchar> ok;
  const cv::Size side(kWindow, kWindow);
  const cv::TermCriteria stop(cv::TermCriteria::COUNT | cv::TermCriteria::EPS, 20, 0.02);
  const cv::Size size(std::max(a.image.cols, b.image.cols), std::max(a.image.rows, b.image.rows));
  const auto filled = [&](const cv::Mat& image) {
    cv::Mat out;
    cv::copyMakeBorder(image, out, 0, size.height - image.rows, 0, size.width - image.cols, cv::BORDER_REPLICATE);
    return out;
  };
  cv::calcOpticalFlowPyrLK(filled(a.image), filled(b.image), corners, found, ok, cv::noArray(), side, 3, stop,
                           cv::OPTFLOW_USE_INITIAL_FLOW);
  std::vector<cv::Point2f> p, q;
  const auto centre = [](const FeatureImage::Pixels& in, const cv::Point2f& c) {
    const Point plate = in.to_plate(c);
    return cv::Point2f(float(plate.x() - 0.5), float(plate.y() - 0.5));
  };
  for (size_t i = 0; i < corners.size(); ++i)
    if (ok[i] && found[i].x >= 0 && found[i].y >= 0 && found[i].x < float(b.image.cols) &&
        found[i].y < float(b.image.rows))
      p.push_back(centre(a, corners[i])), q.push_back(centre(b, found[i]));
  return robust(p, q, 1.5 * a.shrink);
}

std::vector<Point> textured_places(const FeatureImage& image, int spacing, std::span<const Point> taken,
                                   const std::function<bool(const Point&)>& usable) {
  const FeatureImage::Pixels& pixels = image.pixels();
  if (pixels.image.rows < kWindow || pixels.image.cols < kWindow) return {};
  constexpr int kBlock = 5, kSobel = 8;  // The side of what is summed up; what a slope of 1 gives.
  // A slope of so many grey values in the direction where it is least, as OpenCV scales what it gives.
  const double least = std::pow(kLeastSlope * kSobel / (4.0 * 255), 2);
  cv::Mat strength;
  cv::cornerMinEigenVal(pixels.image, strength, kBlock);
  const int columns = pixels.image.cols / spacing + 1, rows = pixels.image.rows / spacing + 1;
  const auto square = [&](const cv::Point2f& p) {
    return std::clamp(int(p.y) / spacing, 0, rows - 1) * columns + std::clamp(int(p.x) / spacing, 0, columns - 1);
  };
  std::vector<bool> occupied(size_t(rows) * columns);
  for (const Point& p : taken) occupied[square(pixels.from_plate(p))] = true;
  std::vector<Point> places;
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      if (occupied[size_t(row) * columns + column]) continue;
      double best = least;
      std::optional<Point> place;
      const int y1 = std::min((row + 1) * spacing, pixels.image.rows - kWindow / 2);
      const int x1 = std::min((column + 1) * spacing, pixels.image.cols - kWindow / 2);
      for (int y = std::max(row * spacing, kWindow / 2); y < y1; ++y)
        for (int x = std::max(column * spacing, kWindow / 2); x < x1; ++x) {
          const Point at = pixels.to_plate(cv::Point2f(float(x), float(y)));
          if (strength.at<float>(y, x) > best && (!usable || usable(at))) best = strength.at<float>(y, x), place = at;
        }
      if (place) places.push_back(*place);
    }
  return places;
}

std::vector<Point> follow(const FeatureImage& from, const FeatureImage& to, std::span<const Point> places) {
  const FeatureImage::Pixels &a = from.pixels(), &b = to.pixels();
  std::vector<Point> seen(places.size(), Point(NAN, NAN));
  if (places.empty() || a.image.size() != b.image.size()) return seen;
  std::vector<cv::Point2f> start, there, back;
  for (const Point& p : places) start.push_back(a.from_plate(p));
  std::vector<uchar> ok, returned;
  const cv::Size side(kWindow, kWindow);
  const cv::TermCriteria stop(cv::TermCriteria::COUNT | cv::TermCriteria::EPS, 20, 0.02);
  std::vector<cv::Mat> pa, pb;
  cv::buildOpticalFlowPyramid(a.image, pa, side, 3);
  cv::buildOpticalFlowPyramid(b.image, pb, side, 3);
  cv::calcOpticalFlowPyrLK(pa, pb, start, there, ok, cv::noArray(), side, 3, stop);
  cv::calcOpticalFlowPyrLK(pb, pa, there, back, returned, cv::noArray(), side, 3, stop);
  const cv::Rect2f inside(0, 0, float(b.image.cols - 1), float(b.image.rows - 1));
  for (size_t i = 0; i < places.size(); ++i)
    if (ok[i] && returned[i] && cv::norm(back[i] - start[i]) < kComesBack && inside.contains(there[i]))
      seen[i] = b.to_plate(there[i]);
  return seen;
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
  const FeatureImage::Pixels& pixels = reference.pixels();
  const cv::Mat& image = pixels.image;
  sift()->detectAndCompute(image, mask_of(region, Rect::sized(image.cols, image.rows), pixels, usable),
                           features_->points, features_->descriptors);
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
