// Frames into files: for every frame the plan of what is delivered, in bands when memory is short, several frames at
// once.
#pragma once
#include <atomic>
#include <functional>

#include "comp/graph/measure.h"

namespace pw {

// What became of one file.
enum class Outcome { written, kept, failed };
std::string_view name(Outcome o);
struct Delivery {
  int sink, frame;
  Outcome outcome;
  double seconds;
  const Problems& problems;
};

struct RenderOptions {
  const Runner& runner;
  int frames_at_once = 1;                   // At most; any number gives the same bytes.
  int64_t memory_limit = int64_t{4} << 30;  // Bytes for pictures.
  int band_height = 0;                      // Rows; 0: as many as fit into the memory limit.
  int tile_width = 0, tile_height = 64;     // 0: whole rows.
  const std::atomic<bool>* stop = nullptr;  // Set: no further frame is begun.
  bool reuse = true;                        // A file that comes from the same as the new one would is left alone.
  bool strict = false;  // The first problem, a warning too, ends the run: no further frame is begun.
  std::function<void(int frame, int done, int total)> progress = {};
  std::function<void(const Delivery&)> delivered = {};  // Called for one file after another.
  LoadWarnings* loads = nullptr;                        // Gathers what reading frames warns of.
};

struct RenderReport {
  int written = 0;        // Files.
  int kept = 0;           // Files that were there and come from the same.
  int frames = 0;         // Frames done without a problem.
  Problems problems;      // In the order of the frames; a frame with one has no file from the sink concerned.
  bool stopped = false;   // By `stop`: not all frames were begun.
  bool given_up = false;  // By `strict`: the same.
};

// Delivers `frames` of every sink in `sinks`. A frame whose input is broken or missing is told and passed over. A run
// that was ended, in whatever way, leaves whole files and is taken up by the next; several runs may share a folder.
RenderReport render(const Scene& scene, const Results& results, const std::vector<int>& sinks,
                    const std::vector<int>& frames, const RenderOptions& options);

// One picture of a node's output: where it has pixels on the canvas. Problems: a node that draws nothing, as a plane.
Result<Picture> render_node(const Scene& scene, const Results& results, int node, int output, int frame,
                            const RenderOptions& options);

}  // namespace pw
