// A table of places and frames with gaps, a row a frame, in a file: memory does not grow with the shot.
#pragma once
#include <cstdint>
#include <span>
#include <vector>

#include "base/problem.h"

namespace pw {

// One frame: a column for each channel and place.
struct LightRow {
  std::vector<float> value;
  std::vector<float> weight;  // 1 / variance of the value; 0 where nothing is known.
  std::vector<float> trust;   // Of the fit, to begin with the weight; see light_table.h.
};

// A temporary file without a name, gone with its owner or its process.
class LightRows {
 public:
  // Problems: there is no folder for temporary files (TMPDIR, else /tmp), or it may not be written to.
  static Result<LightRows> create(size_t columns);
  LightRows(LightRows&& other) noexcept;
  ~LightRows();

  // The next frame; both of `columns` values. Problems: no room for it.
  Result<void> add(std::span<const float> value, std::span<const float> weight);
  size_t columns() const { return columns_; }
  size_t count() const { return shows_.size(); }
  bool shows(size_t frame) const { return shows_[frame]; }  // Has a weight above 0.

  // Both throw std::system_error when the disk fails. `trust` of `columns` values takes the place of what was there.
  void read(size_t frame, LightRow& row) const;
  void set_trust(size_t frame, std::span<const float> trust);

 private:
  LightRows(int file, size_t columns) : file_(file), columns_(columns) {}
  int64_t place(size_t frame, int part) const;  // In the file, bytes.

  int file_;
  size_t columns_;
  std::vector<bool> shows_;
};

}  // namespace pw
