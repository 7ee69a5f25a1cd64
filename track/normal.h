// The normal equations of one alignment step: eight numbers of motion, gain and offset of each channel, and a light of
// its own for every tile of the region that is solved for and eliminated (Schur complement), so that flicker, colour
// drift and moving pools of light do not pull on the motion.
//
// Motion is a small homography I + P in front of the current one, in coordinates X = (x - centre) / radius of the
// reference: P = [p0 p1 p2; p3 p4 p5; p6 p7 0] / radius, so that each p is a shift in pixels at distance `radius`.
#pragma once
#include <Eigen/Core>
#include <vector>

#include "base/transform.h"
#include "track/raster.h"

namespace pw {

inline constexpr int kMotion = 8, kLight = 8, kShared = kMotion + 6;
using LightVector = Eigen::Matrix<double, kLight, 1>;

// The light of a tile: predicted channel c = (gain_c + slope_x X + slope_y Y) * reference_c + offset_c, with X, Y from
// -1 to 1 across the tile. Order: gain 0, offset 0, gain 1, offset 1, gain 2, offset 2, slope_x, slope_y.
struct Light {
  LightVector all = start();      // What the tiles share; its slopes stay zero.
  std::vector<LightVector> tile;  // What each adds.
  LightVector of(size_t t) const { return tile.empty() ? all : LightVector(all + tile[t]); }
  static LightVector start() { return (LightVector() << 1, 0, 1, 0, 1, 0, 0, 0).finished(); }
};

// How far a tile's light may stray from what all share: one standard deviation of each of its numbers.
struct LightSpread {
  double gain = 0.05, offset = 0.01, slope = 0.03;
};

// Sums over one tile, weighted by 1 / variance.
struct TileSums {
  Eigen::Matrix<double, kMotion, kMotion> jj;  // J'J
  Eigen::Matrix<double, kMotion, kLight> jn;   // J'N
  Eigen::Matrix<double, kLight, kLight> nn;    // N'N
  Eigen::Matrix<double, kMotion, 1> jr;        // J'r
  LightVector nr;                              // N'r
  double count = 0;                            // Sum of robust weights.
};

struct TileInput {
  const Raster *reference, *frame, *middle;  // With footprints matched; the mean of prediction and frame.
  const Raster* weight;                      // Of each channel, 1 / variance; the fourth float the robust weight alone.
  Point centre;
  double radius;
};

// Residual frame - prediction, and its sums over the pixels of `tile` (32 x 32 or smaller).
TileSums accumulate(const TileInput& in, const Rect& tile, const LightVector& light);

// What a tile by itself says of its shift as a whole (motion numbers 2 and 5), its light eliminated: information^-1
// pull.
struct TileShift {
  Eigen::Matrix2d information;
  Eigen::Vector2d pull;
  double count = 0;  // Sum of robust weights; 0: it says nothing.
};

struct Step {
  Eigen::Matrix<double, kMotion, 1> motion;
  LightVector all;                // Change of the shared light.
  std::vector<LightVector> tile;  // Change of each tile's.
  std::vector<TileShift> shift;   // Before this step.
  // Covariance of `motion`, from how the tiles' pulls differ (a sandwich estimator, H. White, "Maximum likelihood
  // estimation of misspecified models", Econometrica 50, 1982, by tiles): it needs no noise level and counts noise that
  // neighbouring pixels share, the reference's noise and what interpolation leaves.
  Eigen::Matrix<double, kMotion, kMotion> covariance;
  Eigen::Matrix<double, kMotion, kMotion> information;  // Of the motion alone, light eliminated.
};

// Columns span the motions that a step may be made of: 8 x k, k <= 8.
using MotionBasis = Eigen::Matrix<double, kMotion, Eigen::Dynamic, 0, kMotion, kMotion>;

// Tiles that pull far more than others do count less, by Student's t (K. Lange, R. Little, J. Taylor, "Robust
// statistical modeling using the t distribution", JASA 84, 1989). `damping_px`: a step is held back as if it were known
// to be 0 with this standard deviation, so that what the region does not fix stays where it was. The covariance, too,
// knows of no other motions than those of the basis.
Step solve(const std::vector<TileSums>& tiles, const Light& light, const LightSpread& spread, double damping_px,
           const MotionBasis& basis = MotionBasis::Identity(kMotion, kMotion));

// The homography I + P of a motion, in pixels of the reference.
Matrix3 small_homography(const Eigen::Matrix<double, kMotion, 1>& motion, const Point& centre, double radius);

// d (shift of point x) / d motion, 2 x 8.
Eigen::Matrix<double, 2, kMotion> motion_jacobian(const Point& x, const Point& centre, double radius);

}  // namespace pw
