// An outline that moves: shapes drawn on a few whole frames, and where everything lies in between.
#pragma once
#include <map>

#include "base/contour.h"
#include "base/motion.h"
#include "base/problem.h"

namespace pw {

// linear: straight from key to key. smooth: along a cubic whose speed at a key is that of the parabola through the key
// and its neighbours (Catmull-Rom for uneven times), at most three times the slower of the two sides' speeds, so that
// what rests between two keys stays at rest.
enum class Between { linear, smooth };

// Keys may be drawn freely: see base/contour_match.h for how knots and contours of different drawings are brought
// together. A contour lives from the key where it is first drawn until the first key that does not have it any more; a
// key without contours says that nothing is there from that frame on until the next key. Before the first key the first
// shape is held, after the last key the last.
class Outline {
 public:
  Outline() = default;
  // Contours with fewer than two knots are left out.
  explicit Outline(std::map<int, Shape> keys, Between between = Between::smooth);
  // Keys that ride on a motion, so that few are enough: each is laid back to the reference frame, moves there as above,
  // and is carried to the frame asked for. Refused when the motion is lost or not known on a key's frame.
  static Result<Outline> carried(std::map<int, Shape> keys, const Motion& motion, Between between = Between::smooth);

  const std::map<int, Shape>& keys() const { return keys_; }  // As drawn.

  // The shape at a time in frames.
  Shape at(double time) const;
  // The contours that exist on a whole frame, at the places they have at another time near it: for smear over a
  // shutter, so that what comes or goes with a key does so between two frames.
  Shape at(double time, int frame) const;
  // False where a motion carries the outline and is not known; at() then uses the nearest frame where it is.
  bool covers(double time) const;

 private:
  struct Track {     // One contour's life.
    int begin, end;  // Frames, half-open.
    std::vector<int> frames;
    std::vector<Contour> drawings;  // At those frames, knot i of one being knot i of all.
  };
  void build(const std::map<int, Shape>& keys);

  std::map<int, Shape> keys_;
  Between between_ = Between::smooth;
  std::vector<Track> tracks_;
  std::optional<Motion> motion_;
};

}  // namespace pw
