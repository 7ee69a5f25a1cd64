#include "track/patches.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <opencv2/video/tracking.hpp>

#include "track/region.h"
#include "warp/bend.h"

namespace pw {
namespace {

constexpr int kAcross = 16;     // Squares of the grid along the longer side of the region's box, each of kLeast or more
constexpr int kLeast = 8;       // pixels.
constexpr int kHalf = 8;        // A patch reaches so far from its middle, pixels.
constexpr int kAround = 40;     // Pixels drawn beyond the region, for patches that are several pixels off.
constexpr int kPyramid = 2;     // Halved so many times.
constexpr double kWide = 8;     // Standard deviation of what mean and contrast are taken over, pixels.
constexpr double kFlat = 0.01;  // Contrast, code values, below which nothing is made stronger.
constexpr double kSpread = 40;  // What a standard deviation of the texture becomes, of 255.
constexpr float kTexture = 0.1;  // Of the patch with the strongest corner, what another must have.

// Texture alone, so that light which flickers or falls from aside does not count: code values (near enough: square
// roots), less their mean around and divided by their contrast there.
cv::Mat texture_of(const Picture& p, const Rect& window) {
  cv::Mat grey(window.height(), window.width(), CV_32F, cv::Scalar(0));
  const Rect in = intersect(window, p.window());
  for (int y = in.y0; y < in.y1; ++y)
    for (int x = in.x0; x < in.x1; ++x) {
      const float* v = p.at(x, y);
      const float light = p.channels() >= 3 ? 0.2126f * v[0] + 0.7152f * v[1] + 0.0722f * v[2] : v[0];
      grey.at<float>(y - window.y0, x - window.x0) = std::sqrt(std::max(0.f, light));
    }
  cv::Mat mean, contrast, texture;
  cv::GaussianBlur(grey, mean, {0, 0}, kWide);
  grey -= mean;
  cv::GaussianBlur(grey.mul(grey), contrast, {0, 0}, kWide);
  cv::sqrt(contrast + kFlat * kFlat, contrast);
  cv::divide(grey, contrast, grey);
  grey.convertTo(texture, CV_8U, kSpread, 128);
  return texture;
}

cv::Point2f in_window(const Point& p, const Rect& w) { return {float(p.x() - w.x0 - 0.5), float(p.y() - w.y0 - 0.5)}; }

}  // namespace

struct Patches::Pixels {
  cv::Mat texture;
};

Patches::Patches(const Picture& image, const Picture& ignore, std::span<const Point> region)
    : pixels_(std::make_unique<Pixels>()) {
  const Rect box = intersect(bounds(region), image.window());
  if (box.empty()) return;
  window_ = intersect(box.grown(kAround), image.window());
  pixels_->texture = texture_of(image, window_);
  cv::Mat corner;
  cv::cornerMinEigenVal(pixels_->texture, corner, 2 * (kHalf / 2) + 1);
  // The share of a patch that lies in the region and is not ignored.
  const std::vector<float> share = coverage(region, window_);
  const Blocked blocked(ignore, kIgnoreGrow);
  cv::Mat inside(window_.height(), window_.width(), CV_8U);
  for (int y = 0; y < inside.rows; ++y)
    for (int x = 0; x < inside.cols; ++x)
      inside.at<uchar>(y, x) = share[size_t(y) * inside.cols + x] > 0.5f &&
                               (blocked.empty() || !blocked.at(Point(window_.x0 + x + 0.5, window_.y0 + y + 0.5)));
  cv::copyMakeBorder(inside, inside, 1, 1, 1, 1, cv::BORDER_CONSTANT, cv::Scalar(0));
  cv::erode(inside, inside, cv::Mat::ones(2 * kHalf + 1, 2 * kHalf + 1, CV_8U), {-1, -1}, 1, cv::BORDER_CONSTANT,
            cv::Scalar(0));
  inside = inside(cv::Rect(1, 1, window_.width(), window_.height()));

  const int side = std::max(kLeast, (std::max(box.width(), box.height()) + kAcross - 1) / kAcross);
  struct Best {
    float corner;
    Point place;
  };
  std::vector<Best> best;
  for (int y0 = box.y0; y0 < box.y1; y0 += side)
    for (int x0 = box.x0; x0 < box.x1; x0 += side) {
      Best b{0, {0, 0}};
      for (int y = y0; y < std::min(y0 + side, box.y1); ++y)
        for (int x = x0; x < std::min(x0 + side, box.x1); ++x) {
          const int j = y - window_.y0, i = x - window_.x0;
          if (inside.at<uchar>(j, i) && corner.at<float>(j, i) > b.corner)
            b = {corner.at<float>(j, i), Point(x + 0.5, y + 0.5)};
        }
      if (b.corner > 0) best.push_back(b);
    }
  float strongest = 0;
  for (const Best& b : best) strongest = std::max(strongest, b.corner);
  for (const Best& b : best)
    if (b.corner >= kTexture * strongest) places_.push_back(b.place);
}

Patches::~Patches() = default;

Sight Patches::find(const Picture& image, const Picture& ignore, int frame, const Motion& motion) const {
  Sight sight{frame, {}, {}};
  if (places_.empty() || image.empty()) return sight;
  const auto seen = [&](const Point& p) { return motion.seen_between(frame, motion.reference, p); };
  const Picture held = resample(image, seen, window_, {.edge = Edge::hold});
  const cv::Mat &reference = pixels_->texture, texture = texture_of(held, window_);
  std::vector<cv::Point2f> from, to, back;
  for (const Point& p : places_) from.push_back(in_window(p, window_));
  back = from;
  std::vector<uchar> there, returned;
  const cv::Size side(2 * kHalf + 1, 2 * kHalf + 1);
  const cv::TermCriteria stop(cv::TermCriteria::COUNT | cv::TermCriteria::EPS, 30, 0.003);
  cv::calcOpticalFlowPyrLK(reference, texture, from, to, there, cv::noArray(), side, kPyramid, stop);
  cv::calcOpticalFlowPyrLK(texture, reference, to, back, returned, cv::noArray(), side, kPyramid, stop,
                           cv::OPTFLOW_USE_INITIAL_FLOW);
  const Blocked blocked(ignore, kIgnoreGrow);
  for (size_t i = 0; i < places_.size(); ++i) {
    if (!there[i] || !returned[i] || !(cv::norm(back[i] - from[i]) < kReturn)) continue;
    const auto p = seen(places_[i] + Point(to[i].x - from[i].x, to[i].y - from[i].y));
    if (!p || !image.window().grown(-kHalf).contains(int(std::floor(p->x())), int(std::floor(p->y())))) continue;
    if (!blocked.empty() && blocked.at(*p)) continue;
    sight.in_reference.push_back(places_[i]), sight.in_frame.push_back(*p);
  }
  return sight;
}

}  // namespace pw
