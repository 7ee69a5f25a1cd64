// Where to start an alignment from: features followed from one frame to the next (B. D. Lucas, T. Kanade, "An iterative
// image registration technique", IJCAI 1981, in pyramids) while all goes well, and features found again in the
// reference (D. G. Lowe, "Distinctive image features from scale-invariant keypoints", IJCV 60, 2004) after a loss; both
// put together by a robust homography (D. Barath et al., "MAGSAC++", CVPR 2020, with a fixed seed).
#pragma once
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "base/picture.h"
#include "base/transform.h"

namespace pw {

// An 8-bit picture for features: square root of luminance, which is near enough to code values.
class FeatureImage {
 public:
  explicit FeatureImage(const Picture& p);
  // The part of it in `window`, whose every pixel is the mean of `shrink` x `shrink`.
  FeatureImage(const Picture& p, const Rect& window, int shrink);
  FeatureImage();
  ~FeatureImage();
  FeatureImage(FeatureImage&&) noexcept;
  FeatureImage& operator=(FeatureImage&&) noexcept;
  struct Pixels;
  const Pixels& pixels() const { return *pixels_; }
  bool empty() const { return !pixels_; }

 private:
  std::unique_ptr<Pixels> pixels_;
};

struct Guess {
  Matrix3 h = Matrix3::Identity();
  int inliers = 0, tried = 0;
};

// Homography to_from that features of `from` inside the polygon support in `to`, both shrunk alike; `usable` says which
// points of `from` show the plane; `expected` is where they are looked for.
std::optional<Guess> follow(const FeatureImage& from, const FeatureImage& to, std::span<const Point> polygon,
                            const std::function<bool(const Point&)>& usable, const Matrix3& expected);

// Places that can be followed, in the order of their rows: the most textured one of each square of `spacing` x
// `spacing` shrunk pixels that holds none of `taken`, by the smaller eigenvalue of its gradients' covariance (J. Shi,
// C. Tomasi, "Good features to track", CVPR 1994).
std::vector<Point> textured_places(const FeatureImage& image, int spacing, std::span<const Point> taken,
                                   const std::function<bool(const Point&)>& usable);

// Where the places of `from` are seen in `to`, both of the same window; not a number where they were lost: those that
// do not come back (Z. Kalal, K. Mikolajczyk, J. Matas, "Forward-backward error", ICPR 2010).
std::vector<Point> follow(const FeatureImage& from, const FeatureImage& to, std::span<const Point> places);

// Features of the reference's region, found once, searched for in any frame; both images whole.
class Finder {
 public:
  Finder(const FeatureImage& reference, std::span<const Point> region, const std::function<bool(const Point&)>& usable);
  ~Finder();
  std::optional<Guess> find(const FeatureImage& frame) const;  // frame_from_ref.

 private:
  struct Features;
  std::unique_ptr<Features> features_;
};

}  // namespace pw
