// What reading frames warned of, gathered over a run: a sequence with the same fault in every file is one line, not a
// thousand.
#pragma once
#include <map>
#include <mutex>

#include "base/problem.h"

namespace pw {

class LoadWarnings {
 public:
  // Of a frame of a node; the same frame may come several times. Thread safe.
  void add(int node, int frame, const Problems& warnings);
  bool any() const;
  // For each node those of its first frame, which say how many further frames have some.
  Problems all() const;

 private:
  mutable std::mutex mutex_;
  std::map<int, std::map<int, Problems>> by_node_;  // And frame.
};

}  // namespace pw
