// Runs a plan: steps in order, tiles of a step in parallel, pictures dropped at their last use.
#pragma once
#include <cstdint>
#include <memory>

#include "comp/graph/load_warnings.h"
#include "comp/graph/plan.h"

namespace pw {

// Frames of footage, pictures that stay, and what every band of a frame reads whole, kept between plans. Thread safe.
// Keeps at most `limit_bytes`, dropping what was used longest ago; pictures that stay are always kept.
class Kept {
 public:
  explicit Kept(int64_t limit_bytes);
  ~Kept();
  std::optional<Picture> find(int node, int output, int frame);
  void keep(int node, int output, int frame, const Picture& picture, bool forever);

 private:
  struct Inside;
  std::unique_ptr<Inside> inside_;
};

struct Drawing {
  const Stage& stage;
  const Runner& runner;
  Kept& kept;
  int tile_width = 0, tile_height = 64;  // 0: as wide as the step. Any size gives the same bytes.
  LoadWarnings* loads = nullptr;         // Gathers what reading warns of.
  bool in_bands = false;                 // Other bands of the frame come: what covers the canvas is kept for them.
};

// The wanted pictures, in order. A source that cannot be read ends the plan with its problems.
Result<std::vector<Picture>> draw(const Drawing& drawing, const Plan& plan);

// A whole frame of a source, with its bars when it is letterboxed.
Result<Picture> whole_frame(const Drawing& drawing, int node, int output, int frame);

}  // namespace pw
