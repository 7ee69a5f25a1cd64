// The files of a render that hold all its frames (movies): begun before the first frame, put in place after the last,
// and gone without a trace when a frame is lost on the way.
#pragma once
#include <map>
#include <mutex>

#include "comp/graph/render.h"

namespace pw {

class Reels {
 public:
  // Begins one for every sink of `sinks` that wants one. `keys`: of every node, see key.h. `reuse`: a file that comes
  // from the same is left alone.
  Reels(const Scene& scene, const std::vector<int>& sinks, const std::vector<int>& frames,
        const std::vector<std::string>& keys, bool reuse);

  // Of that sink; null: its frames have files of their own.
  Reel* of(int sink);
  // False when no further frame is of use: it could not be begun, has lost a frame, or is there already.
  bool takes(int sink);
  void lose(int sink, int frame);

  // Puts those in place that have all their frames, and adds to the report what became of each.
  void finish(RenderReport& report);

 private:
  struct State {
    std::unique_ptr<Reel> reel;
    std::string file;
    std::optional<int> lost;  // The frame.
    bool refused = false, kept = false;
  };
  std::mutex mutex_;
  std::map<int, State> states_;
  Problems begun_;  // What went wrong at the start.
};

}  // namespace pw
