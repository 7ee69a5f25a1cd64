// Which motions a plane is taken to make: all a homography can, or fewer, so that little texture still fixes them.
#pragma once

namespace pw {

// translation: shifts; similarity: also turns and grows; affine: also stretches and shears; homography: also tilts.
enum class MotionModel { homography, affine, similarity, translation };
// The region's centre keeps its x or its y in the picture.
enum class LockedAxis { none, x, y };

struct MotionLimits {
  MotionModel model = MotionModel::homography;
  LockedAxis lock = LockedAxis::none;
};

}  // namespace pw
