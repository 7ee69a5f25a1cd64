// Where a camera stood and with what focal length, from a plane whose points have known places.
#pragma once
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/camera.h"
#include "base/motion.h"
#include "base/problem.h"

namespace pw {

// Which way the plane lies: on the ground, or upright on it.
enum class Stands { ground, upright };

struct CameraOptions {
  Stands stands = Stands::ground;
  // Places in the reference frame, pixels, 4 or more, and where they are on the plane, metres. On the ground: to the
  // right and ahead, from any point. On an upright plane: to the right, and height above the ground.
  std::vector<Point> image_points, plane_points;
  double focal_px = 0;       // When it is known; 0: it is looked for, by one focal length for all frames.
  double click_px = 0.3;     // How well the image points are placed, one standard deviation.
  double weak_share = 0.02;  // A focal length less certain than this share of itself is doubtful.
};

// The camera in the reference frame of `motion`, a pinhole with square pixels and its axis through the middle of the
// picture. Each frame gives two equations for the focal length (Z. Zhang, "A flexible new technique for camera
// calibration", IEEE PAMI 22, 2000, with what is not the focal length known); from there the points' distances in all
// frames are made least by Levenberg and Marquardt's method, over the focal length, one pose for each frame, and the
// places of the points in the reference frame, which all frames share. At most 24 frames are used, spread over the
// motion, of those that are good.
// Problems: other numbers of points in picture and plane; fewer than 4; points that do not fix a homography; a focal
// length that neither the plane nor its motion fixes (the plane is seen squarely, or the answer has no sense).
Result<Camera> find_camera(const Motion& motion, const CameraOptions& options);

}  // namespace pw
