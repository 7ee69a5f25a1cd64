// Where the pixels of a picture come from when no homography says it: a lens, rows taken one after the other. The map
// is worked out at points kStep pixels apart and goes between them by cubic convolution (R. G. Keys, 1981: exact for
// quadratics); where it bends too sharply for that, or ends, at every pixel.
#pragma once
#include <functional>
#include <map>

#include "warp/places.h"
#include "warp/resample.h"

namespace pw {

class Bend {
 public:
  static constexpr int kStep = 16;
  // Nothing where nothing is seen. The same answer for the same point, always.
  using SourceFromOut = std::function<std::optional<Point>(const Point& out)>;
  explicit Bend(SourceFromOut source_from_out) : map_(std::move(source_from_out)) {}

  // As find_places() does: any part of a picture is the same as in the whole.
  void find_places(int x0, int y, int count, Places& out);
  // The pixels of a source over `source_window` that can matter over `out`: the homography of each square of points,
  // widened by twice what it is wrong by in its middle.
  Rect reach(const Rect& out, const Rect& source_window, const ResampleOptions& options);

 private:
  const Point& at(int column, int row);  // Of the lattice; not a number: nothing is seen.
  SourceFromOut map_;
  bool smooth(int column, int row);  // Of the square right of and below it.
  void find_place(int x, int y, int i, Places& out) const;
  std::map<std::pair<int, int>, Point> known_;
  std::map<std::pair<int, int>, bool> smooth_;
};

// `source` seen through the bend, over `out`; clear where nothing is seen. Filters and edges are those of resample().
Picture resample(const Picture& source, const Bend::SourceFromOut& source_from_out, const Rect& out,
                 const ResampleOptions& options = {});

}  // namespace pw
