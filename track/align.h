// Direct alignment of a frame to the reference, coarse to fine: Gauss and Newton's method on eight numbers of motion
// and on light, with the mean of both pictures' gradients (S. Benhimane, E. Malis, "Real-time image-based tracking of
// planes using efficient second-order minimization", IROS 2004; of a clean reference its gradients alone, for noise in
// them tells nothing), footprints matched, and what hides the plane left out. Always against the reference frame, so
// that nothing drifts.
#pragma once
#include <span>
#include <vector>

#include "base/parallel.h"
#include "base/picture.h"
#include "track/bending.h"
#include "track/matched.h"
#include "track/model.h"
#include "track/shutter.h"
#include "track/visibility.h"

namespace pw {

inline constexpr int kIgnoreGrow = 3;  // Pixels around an ignored one that its footprint reaches.

// A matte grown and thresholded: pixels that must not be used.
class Blocked {
 public:
  Blocked() = default;
  Blocked(const Picture& matte, int grow_px);
  bool empty() const { return bits_.empty(); }
  bool at(const Point& p) const;

 private:
  Rect window_;
  std::vector<unsigned char> bits_;
};

struct Alignment {
  Matrix3 frame_from_ref = Matrix3::Identity();
  Light light;
  bool converged = false;
  double residual = 0;   // RMS of what is visible, code values.
  double inflation = 1;  // Of the variance expected from noise.
  double seen = 0;       // Share of the region that lies in the frame and is not ignored, 0..1.
  double visible = 0;    // Share of that, by texture, which shows the plane.
  double agreement = 0;  // Of the textures, see visibility.h.
  double last_step_px = 0;
  Bending bending;            // What is left; in pixels of the finest level.
  double left_px = 0;         // One standard deviation of what interpolation and the shutter's path leave at a corner.
  std::vector<float> weight;  // Robust weight of every pixel of the reference's box at `level`, 0..1.
  int level = 0;              // The finest that was used.
  Eigen::Matrix<double, kMotion, kMotion> covariance = Eigen::Matrix<double, kMotion, kMotion>::Zero();
  Eigen::Matrix<double, kMotion, kMotion> information = Eigen::Matrix<double, kMotion, kMotion>::Zero();
};

class Reference {
 public:
  // `region` in the reference frame, 3 or more corners, and what else shows the same plane; `ignore` may be empty.
  Reference(const Picture& image, const Picture& ignore, std::span<const Point> region, const Runner& runner,
            std::span<const std::vector<Point>> also = {});

  int levels() const { return static_cast<int>(level_.size()); }
  // The finest level that is worth its time, 0 or 1: on the finest of all a large region has more pixels than it takes
  // to know where it is. Coarser ones than 1 lose what interpolation can keep, however many pixels there are.
  int finest() const;
  int channels() const { return channels_; }
  const Rect& box(int level = 0) const { return level_[level].box; }
  const Point& centre() const { return centre_; }
  double radius() const { return radius_; }
  const std::vector<Point>& region() const { return region_; }
  const std::vector<float>& mask() const { return level_[0].mask; }  // Over box.
  const std::vector<Rect>& tiles() const { return level_[0].tiles; }
  bool empty() const;  // Nothing left to align.

  struct Options {
    int from_level = 0, to_level = 0;  // Coarse to fine: from >= to.
    double sigma = 0.005;              // Noise of the difference of two pixels, code values.
    double position_px = 1;            // How wrong the start may be, in pixels of the coarsest level used.
    bool clean = false;                // The reference has hardly any noise: its gradients alone, nothing softened.
    bool fresh_light = true;           // Find the light from the tiles' means first.
    Path reference_path, frame_path;   // While their shutters are open.
    MotionLimits limits;               // The start must lie within them.
  };
  Alignment align(const Pyramid& frame, const Blocked& ignore, const Alignment& start, const Options& o,
                  const Runner& runner) const;

 private:
  struct Level {
    ReferencePicture picture;
    Rect box;                 // What is fitted, in pixels of this level.
    std::vector<float> mask;  // Over box.
    std::vector<Rect> tiles;
  };
  void fit(const Level& l, int level, const Pyramid& frame, const Blocked& ignore, const Options& o, Alignment& a,
           double& position_px, const Runner& runner) const;

  std::vector<Level> level_;
  std::vector<Point> region_;
  Point centre_{0, 0};
  double radius_ = 1;
  int channels_ = 3;
};

// The robust weight at a point of the reference, 0 outside the box.
float weight_at(const Reference& reference, const Alignment& a, const Point& p);

// Covariance of the region's corners in the frame, 2n x 2n, from that of the motion; both pictures' noise is in it, and
// `left_px` of each coordinate.
Eigen::MatrixXd corner_covariance(const Reference& reference, const Alignment& a);

// d (sRGB code value) / d (linear light), IEC 61966-2-1; the straight piece near black is kept as it is.
float code_slope(float linear);
void to_code_slopes(std::span<float> linear);  // Many at a time, in place.

}  // namespace pw
