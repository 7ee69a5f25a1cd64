// The Cramer-Rao bound: how well the corners of a region can be known at all from one frame and one reference, whatever
// the method. It needs what only drawn footage has: the pictures without noise, and the noise of every pixel.
//
// Each pixel k of the region tells of the eight numbers of motion through J_k = gradient * d position / d motion, of
// gain and offset of its channel through d code / d gain = code'(L) L and d code / d offset = code'(L), where L is its
// light; its variance is that of the frame plus that of the reference as carried over: reference noise of one pixel
// covers det A frame pixels (A: jacobian of the homography), so it counts det A times; it is scaled by the local slope
// between the two pictures' code values. The information of all channels is summed, light is eliminated, and the
// covariance carried to the corners in the frame. The sum is taken once over the frame's pixels with the frame's
// gradient and once over the reference's with the reference's: what a coarser or smeared picture has lost, no method
// gets back, so the larger of the two bounds holds. (S. M. Kay, Fundamentals of Statistical Signal Processing:
// Estimation Theory, 1993, chapter 3; D. Robinson, P. Milanfar, "Fundamental performance limits in image registration",
// IEEE Transactions on Image Processing 13, 2004, for shifts.)
#pragma once
#include <optional>
#include <vector>

#include "base/picture.h"
#include "base/transform.h"

namespace pw {

struct BoundInput {
  // Noise-free pictures in sRGB code values 0..1, and the standard deviation of every delivered value in the same unit;
  // all of one size and number of channels (1 to 3).
  Picture reference, frame, reference_sigma, frame_sigma;
  Picture hidden;  // One channel over the frame: pixels above 0.02 do not show the plane. May be empty.
  Matrix3 frame_from_ref = Matrix3::Identity();
  std::vector<Point> region;
};

// Least possible root of the mean squared corner distance in the frame, px; nothing when the region's texture does not
// fix eight numbers.
std::optional<double> corner_bound(const BoundInput& in);

}  // namespace pw
