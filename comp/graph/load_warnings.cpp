#include "comp/graph/load_warnings.h"

#include <fmt/format.h>

namespace pw {

void LoadWarnings::add(int node, int frame, const Problems& warnings) {
  if (warnings.empty()) return;
  std::lock_guard lock(mutex_);
  by_node_[node].emplace(frame, warnings);
}

bool LoadWarnings::any() const {
  std::lock_guard lock(mutex_);
  return !by_node_.empty();
}

Problems LoadWarnings::all() const {
  std::lock_guard lock(mutex_);
  Problems all;
  for (const auto& [node, frames] : by_node_)
    for (Problem p : frames.begin()->second) {
      if (const size_t more = frames.size() - 1; more > 0)
        p.what += fmt::format(" ({} has {} more frame{} like this)", p.node, more, more == 1 ? "" : "s");
      all.push_back(std::move(p));
    }
  return all;
}

}  // namespace pw
