// How a place of a frame moves over a still while the shutter is open.
#pragma once
#include <vector>

#include "warp/bend.h"
#include "warp/pin.h"

namespace pw {

class PinPath {
 public:
  // Nothing when the motion does not know the frame or the own frame.
  static std::optional<PinPath> make(const Pin& pin);

  // Where no homography says it (a lens, rows one after the other); then bends() takes the place of moments().
  bool bent() const { return pin_->motion.bent(); }
  // still_from_frame at `count` (odd) moments evenly spread over the time the shutter is open, the middle one exact.
  std::vector<Matrix3> moments(int count) const;
  std::vector<Bend> bends(int count) const;  // The pin must outlive them.
  Matrix3 frame_from_still() const { return frame_from_still_; }
  bool own() const { return pin_->frame == own_frame_; }  // The still is seen where it was taken.

  // Around a point of the frame, pixels of the frame. Lengths are those of the boxes with the same variance.
  struct Smear {
    double wanted = 0;   // By the frame's shutter, along the direction in which it smears most.
    double present = 0;  // In the still, along the same direction.
    double way = 0;      // Length of the point's path while the shutter is open.
  };
  Smear smear(const Point& p) const;

 private:
  // frame_now_from_frame for the moments at which smear() looks: where a place of the frame lies, in coordinates of the
  // frame's middle moment, as its shutter opens and closes.
  static constexpr int kLooks = 9;
  std::optional<Point> still_from_frame(const Point& p, double moment) const;
  std::vector<Point> wanted_path(const Point& p) const;  // kLooks of them, or none.
  std::vector<Point> present_path(size_t i, const Point& p) const;
  const Pin* pin_;
  int own_frame_ = 0;
  Point seen_;  // A point of the frame that is certainly before the camera.
  Matrix3 frame_from_still_;
  std::vector<Matrix3> wanted_;                // kLooks of them, or none when nothing smears.
  std::vector<std::vector<Matrix3>> present_;  // The same for each frame whose smear the still carries.
  std::vector<int> present_frame_;             // Which those are.
};

}  // namespace pw
