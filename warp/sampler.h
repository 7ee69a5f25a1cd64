// Values of a source picture at given places.
#pragma once
#include <vector>

#include "warp/level.h"
#include "warp/places.h"

namespace pw {

class Sampler {
 public:
  Sampler(const Picture& source, const ResampleOptions& options);

  int channels() const { return levels_[0].picture.channels(); }
  // Pixels of a run, `channels()` floats each.
  void sample(const Places& places, float* out);

 private:
  void sample_shrunk(const Places& places, int i, float* out);
  const Level& level(int times);

  Filter filter_;
  bool limit_;
  std::vector<Level> levels_;  // The source and its halvings, made when first needed.
};

}  // namespace pw
