// Where the pixels of a run of one row come from.
#pragma once
#include <optional>

#include "base/transform.h"

namespace pw {

struct Places {
  static constexpr int kRun = 128;
  int count = 0;
  // Source positions, pixels; not a number: nothing is seen there.
  alignas(64) double x[kRun], y[kRun];
  // Derivatives of the source position by the output position: xy is dx (source) / dy (output).
  alignas(64) float xx[kRun], xy[kRun], yx[kRun], yy[kRun];
};

// For the pixels (x0, y) ... (x0 + count - 1, y), count <= kRun. Each is worked out for itself, so that any part of a
// picture is the same as in the whole.
void find_places(const Matrix3& source_from_out, int x0, int y, int count, Places& out);

// The shift that a transform is, when it is one by whole pixels: nothing needs to be filtered then.
struct Shift {
  int dx, dy;
};
std::optional<Shift> whole_shift(const Matrix3& out_from_source);

}  // namespace pw
