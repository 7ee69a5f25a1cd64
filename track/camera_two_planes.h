// Where a camera stood and with what focal length, from two planes of one scene that it moves past.
#pragma once
#include <vector>

#include "base/motion.h"
#include "track/camera.h"

namespace pw {

struct TwoPlanesOptions {
  Stands first = Stands::ground, second = Stands::upright;
  bool square = false;  // Two upright planes meet at right angles; the ground and an upright plane always do.
  // Places on the first plane in its reference frame, pixels, 2 or more, and where they are on it, metres, as in
  // CameraOptions. Only their distances count, and between two upright planes their heights.
  std::vector<Point> image_points, plane_points;
  double focal_px = 0;  // When it is known; 0: it is looked for.
  double click_px = 0.3;
  double weak_share = 0.02;
};

// The camera in the reference frame of `first`, a pinhole with square pixels and its axis through the middle of the
// picture, the same in all frames. What a frame and the planes' homographies have in common are one rotation and one
// translation: H_i ~ K (R + t n_i' / d_i) K^-1 (E. Malis, R. Cipolla, "Camera self-calibration from unknown planar
// structures enforcing the multiview constraints between collineations", IEEE PAMI 24, 2002; B. Triggs,
// "Autocalibration from planar scenes", ECCV 1998). The corners of both regions, weighted by their covariances, are
// made to fit by Levenberg and Marquardt's method over focal length, normals, distances, the corners' true places in
// the reference and a pose for each frame; half of a covariance counts as the reference's own share, which all frames
// have in common. Starts: homographies taken apart at focal lengths from very wide to very long. At most 60 frames are
// used, spread over those that are good in both.
// Problems: planes that share no good frames, or move as one (the camera only turns, or they are one plane); that are
// parallel; that do not fit one rigid scene; a focal length or a tilt that they do not fix; points that are fewer than
// 2 or lie in one place.
Result<Camera> find_camera(const Motion& first, const Motion& second, const TwoPlanesOptions& options);

}  // namespace pw
