// What must be drawn for a frame: a list of (node, output, frame, rectangle), each rectangle the union of all demands,
// in an order in which every step stands after what it reads.
#pragma once
#include <map>
#include <memory>
#include <mutex>

#include "comp/graph/scene.h"

namespace pw {

// Everything a plan is made from; made anew when more is measured.
struct Stage {
  const Scene& scene;
  const std::vector<Measured>& measured;  // Per node; monostate where nothing is stored.
  std::vector<bool> fixed;
  std::vector<int> origin;  // Per node: still_origins().

  Stage(const Scene& s, const std::vector<Measured>& m);
  using Extents = std::vector<Rect>;  // Per node: where it has pixels at one frame.
  std::shared_ptr<const Extents> extents(int frame) const;
  // The node's connections as its hooks see them at that frame.
  std::vector<std::vector<Connection>> connections(int node, int frame) const;
  // What the node's files are; null for a kind that reads none.
  const Survey* files(int node) const { return scene.surveys[node] ? &*scene.surveys[node] : nullptr; }
  int steady_frame(int node, int frame) const { return fixed[node] ? scene.shot.first : frame; }

 private:
  std::vector<bool> ready_;  // Per node: it and all it leans on is measured.
  std::vector<std::vector<Connection>> connect(int node, const Extents& extents) const;
  mutable std::mutex mutex_;
  mutable std::map<int, std::shared_ptr<const Extents>> known_;
};

struct Want {
  int node, output, frame;
  Rect rect;
};

struct Read {
  int input, item, frame;  // As the step's needs() named it.
  size_t step;
};

struct Step {
  int node, output, frame;
  Rect rect;
  std::vector<Read> reads;
  int uses = 0;  // How many steps, and wants, read it.
};

struct Plan {
  std::vector<Step> steps;
  std::vector<size_t> wanted;  // Step of each want, in order.
  // Most bytes alive at once when each step is dropped at its last use, counting 4 channels a pixel.
  int64_t peak_bytes() const;
};

Plan make_plan(const Stage& stage, const std::vector<Want>& wants);

}  // namespace pw
