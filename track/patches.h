// Where small patches of a plane are seen in another frame, each by itself: what a homography leaves shows in them.
// Patches are textured places of the reference's region, one for each square of a grid; each is followed from the
// reference into the frame, drawn as the motion known so far says it should look (B. D. Lucas, T. Kanade, "An iterative
// image registration technique", IJCAI 1981, in pyramids: several pixels off are found again), and back again.
#pragma once
#include <memory>
#include <span>

#include "track/align.h"
#include "track/plane.h"
#include "track/straighten.h"

namespace pw {

class Patches {
 public:
  // Of the region in the reference frame, whose picture this is; what is ignored there is left out.
  Patches(const Picture& image, const Picture& ignore, std::span<const Point> region);
  ~Patches();
  size_t size() const { return places_.size(); }

  // Places in the reference and where they are seen in the frame, pixels, right to some hundredths of one where smear
  // is alike. Left out: patches that do not come back to within kReturn pixels, and those the frame ignores. No places
  // when the picture is empty or the motion does not know the frame. `motion` has the reference that was given above.
  Sight find(const Picture& image, const Picture& ignore, int frame, const Motion& motion) const;
  static constexpr double kReturn = 0.2;

 private:
  struct Pixels;
  std::unique_ptr<Pixels> pixels_;
  Rect window_;
  std::vector<Point> places_;
};

}  // namespace pw
